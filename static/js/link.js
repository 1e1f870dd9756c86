// One stream a page: parts of the page as they change, and a heartbeat. Two seconds without one
// and the page says so; taps are then dropped, never kept for later.
const SILENT_MS = 2000;
const root = document.documentElement;
let stream = null;
let heard = performance.now();
let run = "";  // which run of the server this page has heard

function alive() {
  heard = performance.now();
  if (root.dataset.link !== "open") root.dataset.link = "open";
}

function connect() {
  stream?.close();
  stream = new EventSource(document.body.dataset.events);
  stream.addEventListener("run", (event) => { run = event.data; });
  stream.addEventListener("heartbeat", alive);
  stream.addEventListener("state", (event) => {
    alive();
    document.dispatchEvent(new CustomEvent("thirdstop:state", { detail: JSON.parse(event.data) }));
  });
  stream.addEventListener("page", (event) => {
    alive();
    htmx.swap(document.body, event.data, { swapStyle: "none" });
    document.dispatchEvent(new CustomEvent("thirdstop:page"));
  });
}

function lost() {
  if (root.dataset.link === "lost") return;
  root.dataset.link = "lost";
  document.querySelectorAll("main form").forEach((form) => htmx.trigger(form, "htmx:abort"));
}

if (document.body.dataset.events) {
  connect();
  setInterval(() => {
    const silent = performance.now() - heard;
    if (silent > SILENT_MS) lost();
    // a half-open link gives no error by itself: build it anew
    if (silent > SILENT_MS && stream.readyState !== EventSource.CONNECTING) connect();
  }, 250);
  addEventListener("online", connect);
  addEventListener("offline", lost);
  document.addEventListener("thirdstop:woke", () => { lost(); connect(); });
}

// a server that was started again meanwhile refuses it: a blind tap is dropped, never replayed
document.addEventListener("htmx:configRequest", (event) => { event.detail.headers["Thirdstop-Run"] = run; });
document.addEventListener("htmx:beforeRequest", (event) => {
  if (root.dataset.link === "lost" || root.dataset.held === "yes") event.preventDefault();
});
for (const name of ["htmx:sendError", "htmx:timeout"]) document.addEventListener(name, lost);
document.addEventListener("submit", (event) => {
  if (root.dataset.link === "lost") event.preventDefault();
}, true);
