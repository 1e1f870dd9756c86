// Tap the face: its spot opens. Without this module the picture is an image map of the browser's own.
const SPOTS = 'figure[data-face="now"] .face, [data-spot]';

document.addEventListener("click", (event) => {
  const picture = event.target.closest(SPOTS);
  if (!picture || document.documentElement.dataset.link === "lost") return;
  const box = picture.getBoundingClientRect();
  const part = (at, from, size) => Math.min(1, Math.max(0, (at - from) / size)).toFixed(4);
  event.preventDefault();
  location.assign(`/board/spot?x=${part(event.clientX, box.left, box.width)}&y=${part(event.clientY, box.top, box.height)}`);
});

// The spot's page follows the light: what it says is asked for anew, its keys stay as they are.
const follows = document.querySelectorAll("[data-follows]");
let asking = false, again = false;

async function follow() {
  if (asking) { again = true; return; }
  asking = true;
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const { id } of answer.ok ? follows : []) {
      const now = document.getElementById(id), then = page.getElementById(id);
      if (now && then && now.outerHTML !== then.outerHTML) now.replaceWith(then);
    }
  } catch { /* the link is lost, and the page says so; the next state asks again */ }
  asking = false;
  if (again) { again = false; follow(); }
}

if (follows.length) document.addEventListener("thirdstop:state", follow);
