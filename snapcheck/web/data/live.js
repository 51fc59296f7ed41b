// Parts of a page that change by themselves. The page works without: then it is opened again by hand.
document.body.classList.add("scripted");

// A photo was sent whose answer has not been shown: it may be there before the page has said that it waits.
let sent = false;
addEventListener("sent", () => { sent = true; });

for (const part of document.querySelectorAll("[data-part]")) {
  let asked = false, busy = false;

  note(part);

  const renew = async () => {
    if (busy) { asked = true; return; }
    busy = true;
    try {
      const answer = await fetch(part.dataset.part, { headers: { "x-sent-by": "script" } });
      if (answer.status === 403) { location.reload(); return; }
      if (answer.ok) replace(part, await answer.text());
    } catch { /* the next piece of news tries again */ }
    busy = false;
    if (asked) { asked = false; renew(); }
  };

  const news = new EventSource(part.dataset.news);
  let first = true;
  news.addEventListener("news", () => { if (first) first = false; else renew(); });
  news.addEventListener("error", () => { first = false; });
  if (part.dataset.every) setInterval(renew, 1000 * part.dataset.every);
  addEventListener("sent", renew);
}

// How folds came, so that those are left alone that somebody opened or closed.
function note(part) {
  for (const d of part.querySelectorAll("details")) d.dataset.given = d.open ? "open" : "closed";
}

// What stands there is left alone where nothing changed, so that nobody loses their place.
function replace(part, text) {
  const fresh = new DOMParser().parseFromString(text, "text/html").body;
  if (part.dataset.shown === text) return;
  part.dataset.shown = text;
  const turned = new Map([...part.querySelectorAll("details")].filter(d => d.open !== (d.dataset.given === "open"))
    .map(d => [d.className, d.open]));
  const at = document.activeElement?.closest?.("a[href]");
  const place = part.contains(at) ? at.getAttribute("href") : null;
  const waited = sent || part.querySelector(".waits") !== null;
  note(fresh);
  for (const d of fresh.querySelectorAll("details")) if (turned.has(d.className)) d.open = turned.get(d.className);
  part.replaceChildren(...fresh.childNodes);
  if (place !== null) part.querySelector(`a[href="${CSS.escape(place)}"]`)?.focus();
  const verdict = part.querySelector(".verdict .word");
  if (waited && verdict !== null && part.querySelector(".waits") === null) {
    sent = false;
    verdict.tabIndex = -1;
    verdict.focus({ preventScroll: true });
    scrollTo(0, 0);
  }
  dispatchEvent(new Event("renewed"));
}
