// Tap the face: its spot opens. Without this module the picture is an image map of the browser's own.
for (const picture of document.querySelectorAll('figure[data-face="now"] .face, [data-spot]')) {
  picture.addEventListener("click", (event) => {
    if (document.documentElement.dataset.link === "lost" || document.documentElement.dataset.held === "yes") return;
    const box = picture.getBoundingClientRect();
    const part = (at, from, size) => Math.min(1, Math.max(0, (at - from) / size)).toFixed(4);
    event.preventDefault();
    location.assign(`/board/spot?x=${part(event.clientX, box.left, box.width)}&y=${part(event.clientY, box.top, box.height)}`);
  });
}
