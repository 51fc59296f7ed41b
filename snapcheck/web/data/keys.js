// Keys press the buttons that carry them, unless somebody types.
addEventListener("keydown", event => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
  if (event.target.closest("input:not([type=radio]):not([type=checkbox]), select, textarea")) return;
  const pressed = document.querySelector(`[data-key="${CSS.escape(event.key.toLowerCase())}"]`);
  if (pressed === null) return;
  event.preventDefault();
  pressed.click();
});
