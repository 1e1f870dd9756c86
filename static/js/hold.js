// Hold: this tablet ignores touches and keys until Hold is pressed for 0.7 s, on every page and after
// a reload: it is remembered for this tab.
const FREE_MS = 700;
const REMEMBERED = "thirdstop-held";
const root = document.documentElement;
const key = document.querySelector("[data-hold]");
let timer = 0;

function hold(on) {
  root.dataset.held = on ? "yes" : "no";
  sessionStorage.setItem(REMEMBERED, root.dataset.held);
  key.setAttribute("aria-pressed", String(on));
  key.querySelector("[data-hold-word]").textContent = on ? "Held" : "Hold";
}

if (key) {
  key.hidden = false;
  if (sessionStorage.getItem(REMEMBERED) === "yes") hold(true);
  key.addEventListener("click", () => { if (root.dataset.held !== "yes" && !key.dataset.freed) hold(true); });
  key.addEventListener("pointerdown", () => {
    delete key.dataset.freed;
    if (root.dataset.held === "yes") timer = setTimeout(() => { key.dataset.freed = "yes"; hold(false); }, FREE_MS);
  });
  for (const name of ["pointerup", "pointerleave", "pointercancel"]) key.addEventListener(name, () => clearTimeout(timer));
  // links, keys of a keyboard, forms that the browser sends by itself: nothing but Hold is heard
  for (const name of ["click", "submit"]) {
    document.addEventListener(name, (event) => {
      if (root.dataset.held !== "yes" || key.contains(event.target)) return;
      event.preventDefault();
      event.stopImmediatePropagation();
    }, true);
  }
}
