// The face on the Board follows the light: drawn here from planes at every `state`, so that a nudge
// needs no picture from the server. While the planes are not there, the server's picture is shown.
const box = document.querySelector('figure[data-face="now"]');

if (box) {
  const { readPlanes, paint } = await import(`./face_paint.js${new URL(import.meta.url).search}`);
  const canvas = box.querySelector("canvas"), picture = box.querySelector("img");
  const context = canvas.getContext("2d");
  const kept = new Map();  // a few sitters by the address of their planes
  const inZones = box.dataset.zones === "on";
  let state = null, wanted = "";

  const sitter = (url) => url.replace(/-\d+\.bin$/, "");  // the same, however finely drawn

  const told = () => box.querySelector("#face-now").dataset;

  const draw = () => {
    const file = kept.get(wanted);
    const fits = file && state && Math.abs(file.yaw_deg - state.sitter.yaw_deg) < 1e-6;
    if (fits) {
      const outputs = Object.fromEntries(state.heads.map((head) => [head.name, head.output]));
      paint(file, outputs, state.lens.mid_grey_lux, context, inZones);
      box.dataset.revision = state.revision;
    }
    canvas.hidden = !fits;
    picture.hidden = Boolean(fits) || !picture.getAttribute("src");
  };

  const load = async (url) => {
    if (!url || kept.has(url)) return;
    kept.set(url, null);
    try {
      const answer = await fetch(url);
      if (!answer.ok) throw new Error(answer.status);
      kept.set(url, readPlanes(await answer.arrayBuffer()));
    } catch { kept.delete(url); }
    if (kept.size > 6) kept.delete(kept.keys().next().value);
    draw();
  };

  const follow = () => {
    const { planes, picture: address, zonesPicture, text } = told();
    canvas.setAttribute("aria-label", text);
    picture.alt = text;
    load(planes);
    if (kept.get(planes) || sitter(planes) !== sitter(wanted)) wanted = planes;
    draw();
    const source = inZones ? zonesPicture : address;
    if (canvas.hidden && source && picture.getAttribute("src") !== source) { picture.src = source; picture.hidden = false; }
  };

  document.addEventListener("thirdstop:state", (event) => { state = event.detail; draw(); });
  document.addEventListener("thirdstop:page", follow);
  follow();
}
