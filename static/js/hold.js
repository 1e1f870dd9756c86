// Hold: this tablet ignores touches and keys until Hold is pressed for 0.7 s.
const FREE_MS = 700;
const root = document.documentElement;
const key = document.querySelector("[data-hold]");
let timer = 0;

function hold(on) {
  root.dataset.held = on ? "yes" : "no";
  key.setAttribute("aria-pressed", String(on));
  key.textContent = on ? "Held: press long" : "Hold";
}

if (key) {
  key.hidden = false;
  key.addEventListener("click", () => { if (root.dataset.held !== "yes" && !key.dataset.freed) hold(true); });
  key.addEventListener("pointerdown", () => {
    delete key.dataset.freed;
    if (root.dataset.held === "yes") timer = setTimeout(() => { key.dataset.freed = "yes"; hold(false); }, FREE_MS);
  });
  for (const name of ["pointerup", "pointerleave", "pointercancel"]) key.addEventListener(name, () => clearTimeout(timer));
}
