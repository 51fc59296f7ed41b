// The plate: choosing, dragging and typing without opening the page again. All of it works without, too.
const main = document.querySelector("[data-plate]");
const here = main.dataset.plate, heard = document.getElementById("heard");
const PITCH = 108, MARGIN = 44;
let queue = Promise.resolve(), shown = 0;

// ---------------------------------------------------------------- asking

// One after the other: what a key does depends on where the cube before has gone.
function ask(make) {
  queue = queue.then(async () => {
    const wanted = make();
    if (wanted === null) return;
    try {
      const answer = await fetch(wanted.path, {
        method: wanted.form ? "POST" : "GET", body: wanted.form, headers: { "x-sent-by": "script" },
      });
      if (answer.status === 403) { location.reload(); return; }
      const text = await answer.text();
      if (answer.ok) replace(text); else heard.textContent = text;
    } catch (error) { heard.textContent = String(error); }
  });
  return queue;
}

const look = query => ask(() => ({ path: `${here}/part?${new URLSearchParams(query)}` }));

function say(fields) {
  const token = main.querySelector("input[name=token]").value;
  return { path: here, form: new URLSearchParams({ token, cell: chosen() ?? "", ...fields }) };
}

// ---------------------------------------------------------------- what came

const PARTS = ["top", "said", "verdict", "plate", "beside", "told", "written", "kept"];

function replace(text) {
  const fresh = new DOMParser().parseFromString(text, "text/html"), at = marked(document.activeElement);
  const typing = document.activeElement?.id === "text";
  for (const id of PARTS) {
    const old = document.getElementById(id), now = fresh.getElementById(id);
    if (old.isEqualNode(now)) continue;
    if (id === "written" && typing) {
      old.querySelector(".wrong")?.remove();
      const wrong = now.querySelector(".wrong");
      if (wrong) old.querySelector("form").before(wrong);
      continue;
    }
    for (const fold of old.querySelectorAll("details[open]")) {
      const same = now.querySelector(`details.${fold.className}`);
      if (same) same.open = true;
    }
    old.replaceWith(now);
  }
  shown += 1;
  if (at && !typing) find(at)?.focus({ preventScroll: true });
  settle();
}

// By what the element is known again that has the keyboard.
function marked(element) {
  if (!element || !main.contains(element)) return null;
  if (element.dataset.cell) return "a.cell.here, a.cell";
  if (element.id) return `#${element.id}`;
  const { name, value } = element;
  if (name) return [`button[name="${name}"][value="${CSS.escape(value)}"]:enabled`, "a.cell.here"].join(", ");
  return null;
}

const find = where => where.split(", ").map(w => main.querySelector(w)).find(e => e !== null);

function settle() {
  const cells = [...main.querySelectorAll("a.cell")], first = main.querySelector("a.cell.here") ?? cells[0];
  for (const cell of cells) cell.tabIndex = cell === first ? 0 : -1;
  for (const end of main.querySelectorAll("a.end")) end.tabIndex = -1;
  const text = document.getElementById("text"), cell = chosen();
  if (cell && document.activeElement !== text) {
    const line = text.value.split("\n").findIndex(l => l.toUpperCase().startsWith(`${cell} `));
    if (line >= 0) text.scrollTop = Math.max(0, (line - 4) * parseFloat(getComputedStyle(text).lineHeight));
  }
  const said = [...main.querySelectorAll("#said .wrong, #written .wrong")].map(p => p.textContent).join(" ");
  const verdict = main.querySelector("#verdict .word")?.textContent ?? "";
  heard.textContent = [said, main.querySelector("a.cell.here")?.getAttribute("aria-label"), verdict].filter(Boolean).join(". ");
  later();
}

async function later() {
  const told = document.getElementById("told"), mine = shown;
  if (!told.dataset.late) return;
  try {
    const answer = await fetch(told.dataset.late, { headers: { "x-sent-by": "script" } });
    const text = await answer.text();
    if (mine !== shown) return;
    if (!answer.ok) { heard.textContent = text; return; }
    const fresh = new DOMParser().parseFromString(text, "text/html"), now = fresh.getElementById("told");
    const verdict = fresh.getElementById("verdict");
    document.getElementById("verdict").replaceWith(verdict);
    heard.textContent = verdict.querySelector(".word")?.textContent ?? "";
    for (const fold of told.querySelectorAll("details[open]")) {
      const same = now.querySelector(`details.${fold.className}`);
      if (same) same.open = true;
    }
    delete now.dataset.late;
    told.replaceWith(now);
  } catch { /* the next edit asks again */ }
}

// ---------------------------------------------------------------- choosing

const chosen = () => main.querySelector("a.cell.here")?.dataset.cell ?? new URLSearchParams(location.search).get("cell");

function choose(cell, then) {
  history.replaceState(null, "", `?cell=${cell}`);
  main.querySelector("a.cell.here")?.classList.remove("here");
  const link = main.querySelector(`a.cell[data-cell="${cell}"]`);
  link?.classList.add("here");
  link?.focus({ preventScroll: true });
  look({ cell }).then(() => then?.());
}

main.addEventListener("click", event => {
  const link = event.target.closest("a.cell, a.end, a.done, .wires a");
  if (link === null || event.ctrlKey || event.metaKey) return;
  const query = new URL(link.getAttribute("href"), location.href).searchParams;
  event.preventDefault();
  if (link.matches("a.cell")) { choose(link.dataset.cell); return; }
  if (query.has("to")) {
    ask(() => say({ line: `lead ${query.get("from")} to ${query.get("to")}`, ends: "1" }));
    return;
  }
  look(Object.fromEntries(query));
});

main.addEventListener("submit", event => {
  const form = event.target, pressed = event.submitter;
  if (form.matches(".plain")) return;
  event.preventDefault();
  const fields = new URLSearchParams(new FormData(form, pressed));
  ask(() => ({ path: here, form: fields }));
});

// ---------------------------------------------------------------- keys

// Columns go from A to Z, then from AA on.
function name_of(column, row) {
  let letters = "";
  for (let left = column + 1; left > 0; left = Math.floor((left - 1) / 26)) {
    letters = String.fromCharCode(65 + (left - 1) % 26) + letters;
  }
  return `${letters}${row + 1}`;
}

function place_of(cell) {
  const [, letters, row] = /^([A-Z]+)(\d+)$/.exec(cell);
  return [[...letters].reduce((n, letter) => 26 * n + letter.charCodeAt(0) - 64, 0) - 1, Number(row) - 1];
}

const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

function beyond(cell, [right, down]) {
  let [column, row] = place_of(cell);
  // on from a cube of several cells to the next one
  for (let n = 1; n < 30; n += 1) {
    const next = name_of(column + n * right, row + n * down);
    if (main.querySelector(`a.cell[data-cell="${next}"]`)) return next;
  }
  return null;
}

addEventListener("keydown", event => {
  const typing = event.target.closest("input:not([type=checkbox]), select, textarea");
  if (event.key === "Escape" && typing) { main.querySelector("a.cell.here")?.focus(); return; }
  if (typing || event.altKey) return;
  const key = event.key.toLowerCase(), held = event.ctrlKey || event.metaKey;
  if (held && (key === "z" || key === "y")) {
    event.preventDefault();
    ask(() => say({ step: key === "y" || event.shiftKey ? "redo" : "undo" }));
    return;
  }
  if (held || !event.target.closest("a.cell, body:not(:has(:focus))")) return;
  const cell = chosen();
  if (!cell) return;
  if (event.key in WAYS) {
    event.preventDefault();
    if (event.shiftKey) {
      ask(() => {
        const [column, row] = place_of(chosen()), [right, down] = WAYS[event.key];
        const full = main.querySelector("a.cell.here.full") !== null && column + right >= 0 && row + down >= 0;
        return full ? say({ line: `move ${chosen()} to ${name_of(column + right, row + down)}` }) : null;
      });
    } else {
      const next = beyond(cell, WAYS[event.key]);
      if (next) choose(next);
    }
  } else if (key === "r") {
    event.preventDefault();
    ask(() => say({ line: `turn ${chosen()} ${event.shiftKey ? 270 : 90}` }));
  } else if (key === "delete" || key === "backspace") {
    event.preventDefault();
    ask(() => say({ line: `remove ${chosen()}` }));
  } else if (key === "enter") {
    event.preventDefault();
    choose(event.target.dataset?.cell ?? cell, () => {
      const value = document.getElementById("value");
      (main.querySelector("a.cell.here.full") ? value : document.getElementById("kind")).focus();
      value.select();
    });
  } else if (key === "u") {
    ask(() => say({ step: "undo" }));
  }
});

// ---------------------------------------------------------------- dragging

let drag = null;

function under(event) {
  const svg = main.querySelector("svg.cells"), at = new DOMPoint(event.clientX, event.clientY)
    .matrixTransform(svg.getScreenCTM().inverse());
  const cell = name_of(Math.floor((at.x - MARGIN) / PITCH), Math.floor((at.y - MARGIN) / PITCH));
  return { at, cell, link: main.querySelector(`a.cell[data-cell="${cell}"]`) };
}

main.addEventListener("dragstart", event => event.preventDefault());

main.addEventListener("pointerdown", event => {
  const link = event.target.closest?.("a.cell.full");
  // a finger scrolls the page, unless it lies on the chosen cube
  const may = event.pointerType !== "touch" || link?.matches(".here");
  if (link && event.button === 0 && may) drag = { link, x: event.clientX, y: event.clientY };
});

addEventListener("pointermove", event => {
  if (drag === null || (!drag.ghost && Math.hypot(event.clientX - drag.x, event.clientY - drag.y) < 6)) return;
  const svg = main.querySelector("svg.cells"), rect = drag.link.querySelector("rect");
  const [x, y, width, height] = ["x", "y", "width", "height"].map(n => Number(rect.getAttribute(n)));
  if (!drag.ghost) {
    drag.ghost = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    for (const [n, v] of Object.entries({ width, height, viewBox: `${x} ${y} ${width} ${height}`, class: "ghost" })) {
      drag.ghost.setAttribute(n, v);
    }
    const copy = document.createElementNS("http://www.w3.org/2000/svg", "use");
    copy.setAttribute("href", "#drawn");
    drag.ghost.append(copy);
    svg.append(drag.ghost);
  }
  const { at, cell } = under(event);
  drag.ghost.setAttribute("x", at.x - PITCH / 2);
  drag.ghost.setAttribute("y", at.y - PITCH / 2);
  main.querySelector("a.cell.aim")?.classList.remove("aim");
  main.querySelector(`a.cell[data-cell="${cell}"]`)?.classList.add("aim");
});

main.addEventListener("touchmove", event => { if (drag) event.preventDefault(); }, { passive: false });

addEventListener("pointercancel", () => {
  drag?.ghost?.remove();
  main.querySelector("a.cell.aim")?.classList.remove("aim");
  drag = null;
});

addEventListener("pointerup", event => {
  const held = drag;
  drag = null;
  if (!held?.ghost) return;
  held.ghost.remove();
  main.querySelector("a.cell.aim")?.classList.remove("aim");
  addEventListener("click", e => { e.preventDefault(); e.stopPropagation(); }, { capture: true, once: true });
  setTimeout(() => dispatchEvent(new Event("click")), 50);
  const from = held.link.dataset.cell, { cell, link } = under(event);
  if (link && cell !== from) ask(() => say({ line: `move ${from} to ${cell}` }));
});

// ---------------------------------------------------------------- the text

let waiting = 0;

main.addEventListener("input", event => {
  if (event.target.id !== "text") return;
  clearTimeout(waiting);
  waiting = setTimeout(() => ask(() => say({ step: "text", text: event.target.value })), 400);
});

document.addEventListener("selectionchange", () => {
  const text = document.activeElement;
  if (text?.id !== "text") return;
  main.querySelector("a.cell.read")?.classList.remove("read");
  const word = text.value.slice(text.value.lastIndexOf("\n", text.selectionStart - 1) + 1).split(/\s/, 1)[0];
  if (/^[A-Za-z]{1,2}\d{1,2}$/.test(word)) {
    main.querySelector(`a.cell[data-cell="${word.toUpperCase()}"]`)?.classList.add("read");
  }
});

settle();
