// The face on the Board follows the light: drawn here from planes at every `state`, so that a nudge
// needs no picture from the server. While the planes are not there, the server's picture is shown.
const box = document.querySelector('figure[data-face="now"]');

if (box) {
  const { readPlanes, paint } = await import(`./face_paint.js${new URL(import.meta.url).search}`);
  const canvas = box.querySelector("canvas"), picture = box.querySelector("img");
  const context = canvas.getContext("2d");
  const inZones = box.dataset.zones === "on";
  const kept = new Map();  // planes by address; null while they are on their way
  const KEPT_AT_MOST = 6;
  let state = null, shown = "";

  const told = () => box.querySelector("#face-now").dataset;
  const sitter = (address) => address.replace(/-\d+\.bin$/, "");  // however finely drawn

  const draw = () => {
    const { planes, picture: plain, zonesPicture } = told();
    // the same sitter's coarser planes stay until the finer ones are there
    if (kept.get(planes) || sitter(planes) !== sitter(shown)) shown = planes;
    const file = kept.get(shown);
    const fits = Boolean(file && state) && Math.abs(file.yaw_deg - state.sitter.yaw_deg) < 1e-6;
    if (fits) {
      const outputs = Object.fromEntries(state.heads.map((head) => [head.name, head.output]));
      paint(file, outputs, state.lens.mid_grey_lux, context, inZones);
      Object.assign(box.dataset, { revision: state.revision, drawn: shown });
    }
    const source = inZones ? zonesPicture : plain;
    if (!fits && source && picture.getAttribute("src") !== source) picture.src = source;
    canvas.hidden = !fits;
    picture.hidden = fits || !source;
  };

  const load = async (address) => {
    if (!address || kept.has(address)) return;
    kept.set(address, null);
    try {
      const answer = await fetch(address);
      if (!answer.ok) throw new Error(answer.status);
      kept.set(address, readPlanes(await answer.arrayBuffer()));
    } catch { kept.delete(address); }
    if (kept.size > KEPT_AT_MOST) kept.delete(kept.keys().next().value);
    draw();
  };

  const follow = () => {
    const { planes, text } = told();
    canvas.setAttribute("aria-label", text);
    picture.alt = text;
    load(planes);
    draw();
  };

  document.addEventListener("thirdstop:state", (event) => { state = event.detail; draw(); });
  document.addEventListener("thirdstop:page", follow);
  follow();
}
