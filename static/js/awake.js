// Keep the screen awake where the browser allows it (secure pages only; README tells the rest).
async function stayAwake() {
  if (document.hidden || !("wakeLock" in navigator)) return;
  try { await navigator.wakeLock.request("screen"); } catch { /* refused: the tablet's own time-out rules */ }
}

if (document.body.dataset.events) {
  stayAwake();
  document.addEventListener("visibilitychange", stayAwake);
}
