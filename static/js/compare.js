// See good: hold to see the good frame's light, release for now.
const key = document.querySelector("[data-compare]");

async function show(hold) {
  key.toggleAttribute("data-on", hold);
  await fetch("/api/compare", {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ hold }),
  });
}

if (key) {
  key.hidden = false;
  key.addEventListener("contextmenu", (event) => event.preventDefault());
  key.addEventListener("pointerdown", (event) => {
    if (document.documentElement.dataset.link === "lost" || document.documentElement.dataset.held === "yes") return;
    key.setPointerCapture(event.pointerId);
    show(true);
  });
  for (const name of ["pointerup", "pointercancel"]) {
    key.addEventListener(name, () => { if (key.hasAttribute("data-on")) show(false); });
  }
}
