// A tablet that wakes: what it shows may be old, and the first touch is meant to wake it, no more.
// It is dead until the truth has come, and its first touch within a second is swallowed.
const SLEPT_MS = 2500;
const FIRST_TOUCH_MS = 1000;
const root = document.documentElement;
let ticked = performance.now();
let hidden = 0;
let woke = -Infinity;

function wake() {
  woke = performance.now();
  document.dispatchEvent(new CustomEvent("thirdstop:woke"));
}

if (document.body.dataset.events) {
  setInterval(() => {
    const now = performance.now();
    if (now - ticked > SLEPT_MS) wake();  // the page's clock stood still
    ticked = now;
  }, 250);
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) hidden = performance.now();
    else if (performance.now() - hidden > SLEPT_MS) wake();
  });
  document.addEventListener("resume", wake);
  addEventListener("pageshow", (event) => { if (event.persisted) wake(); });
  for (const name of ["pointerdown", "click"]) {
    document.addEventListener(name, (event) => {
      if (performance.now() - woke > FIRST_TOUCH_MS && root.dataset.link !== "lost") return;
      if (!event.target.closest("main")) return;  // the pages' own links always work
      event.preventDefault();
      event.stopImmediatePropagation();
      if (name === "click") woke = -Infinity;
    }, true);
  }
}
