// The second place that is chosen on the picture lays the lead at once.
addEventListener("click", event => {
  const end = event.target.closest("a.end"), form = document.querySelector("form.leads");
  if (end === null || form === null) return;
  const asked = new URL(end.getAttribute("href"), location.href).searchParams;
  if (!asked.has("to")) return;
  event.preventDefault();
  for (const name of ["from", "to"]) form.elements[name].value = asked.get(name);
  form.requestSubmit();
});
