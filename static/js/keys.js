// A pedal or page-turner acts as a keyboard. K F H B A choose a row, arrows nudge it.
let row = null;
let spaceTimer = 0;

const typing = (target) => target.closest("input, select, textarea, [contenteditable]");
// a click, not requestSubmit: htmx sends the value of the button that was clicked
const press = (button) => button?.click();

document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.metaKey || event.altKey || typing(event.target)) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const group = document.querySelector(`[data-group="${CSS.escape(key)}"]`);
  if (group) {
    row = group;
    document.querySelectorAll("[data-group]").forEach((g) => g.toggleAttribute("data-chosen", g === row));
    return;
  }
  if (key === " ") {  // good frame: held, so that a brushed key marks nothing
    event.preventDefault();
    spaceTimer = setTimeout(() => press(document.querySelector('[data-key=" "]')), 400);
    return;
  }
  if (key === "l") { document.querySelector("[data-hold]")?.click(); return; }
  const onButton = event.target.closest("button, a");
  if (key === "Enter" && onButton) return;
  const aliases = { ArrowRight: "PageDown", ArrowLeft: "PageUp" };
  const button = row?.querySelector(`[data-arrow="${CSS.escape(key)}"]`)
    ?? document.querySelector(`[data-key="${CSS.escape(aliases[key] ?? key)}"]`);
  if (button) { event.preventDefault(); press(button); }
});
document.addEventListener("keyup", (event) => { if (event.key === " ") clearTimeout(spaceTimer); });
