// Drag a head on the plan: only its symbol follows the finger. On release the place goes to the
// server, and the page shows what the server makes of it. The keys beside it do the same in steps.
const TAP_CM = 3;
const { dataset: page } = document.documentElement;
const dead = () => page.link === "lost" || page.held === "yes";

for (const view of document.querySelectorAll("[data-plan]")) {
  const form = document.querySelector("[data-drag-form]");
  let from = null;
  let shift = [0, 0];
  const symbol = () => view.querySelector("[data-dragged]");

  function place(event) {
    const matrix = view.querySelector("svg").getScreenCTM().inverse();
    return new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix);
  }

  function settle() {  // where the server says that it stands
    from = null;
    shift = [0, 0];
    symbol()?.removeAttribute("transform");
  }

  // a finger on the head drags it, beside it it scrolls; touch-action does not reach inside an SVG
  view.addEventListener("touchstart", (event) => {
    if (event.target.closest("[data-dragged]")) event.preventDefault();
  }, { passive: false });
  view.addEventListener("pointerdown", (event) => {
    if (from || dead() || !event.target.closest("[data-dragged]")) return;
    event.preventDefault();
    view.setPointerCapture(event.pointerId);
    from = place(event);
  });
  view.addEventListener("pointermove", (event) => {
    if (!from) return;
    const to = place(event);
    shift = [view.dataset.plan === "side" ? 0 : to.x - from.x, to.y - from.y];
    symbol()?.setAttribute("transform", `translate(${shift.join(" ")})`);
  });
  view.addEventListener("pointerup", () => {
    if (!from) return;
    from = null;
    if (dead() || !symbol() || Math.hypot(...shift) < TAP_CM) return settle();
    const { x, y } = symbol().dataset;
    form.elements.view.value = view.dataset.plan;
    form.elements.x.value = (Number(x) + shift[0]).toFixed(1);
    form.elements.y.value = (Number(y) + shift[1]).toFixed(1);
    form.requestSubmit();
  });
  view.addEventListener("pointercancel", settle);
  form.addEventListener("htmx:afterRequest", () => setTimeout(settle, 150));
}

for (const form of document.querySelectorAll("[data-emptied]")) {
  form.addEventListener("htmx:afterRequest", (event) => { if (event.detail.xhr.status < 300) form.reset(); });
}
