// A tile's face that becomes finer keeps its place: the old picture stays until the new one is
// there. Parts that did not change are left alone.
document.addEventListener("htmx:oobBeforeSwap", (event) => {
  const { target, fragment } = event.detail;
  const fresh = fragment.firstElementChild;
  if (!fresh || !target.matches?.("[data-face], .compare, .drawing, .face-now")) return;
  if (fresh.isEqualNode(target)) { event.detail.shouldSwap = false; return; }
  const [before, after] = [target, fresh].map((part) => part.querySelectorAll("img"));
  if (!before.length || before.length !== after.length) return;
  after.forEach((image, i) => {
    for (const name of ["src", "alt"]) before[i].setAttribute(name, image.getAttribute(name));
    image.replaceWith(before[i]);
  });
});
