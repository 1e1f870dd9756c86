// Sums a sitter's one-light planes and prints the sum: the same as server/preview/planes.py tells.
const PLACES = 4096;
const WHITE_FROM = 8, BLACK_TO = 1;

export function readPlanes(buffer) {
  const bytes = new Uint8Array(buffer);
  const end = bytes.indexOf(10);
  const head = JSON.parse(new TextDecoder().decode(bytes.subarray(0, end)));
  const size = head.width * head.height;
  let at = end + 1;
  const next = (length) => bytes.subarray(at, at += length);
  const planes = head.heads.map(({ name, scale }) => ({ name, scale, codes: next(size) }));
  const [red, green, blue, zone] = [0, 0, 0, 0].map(() => next(PLACES));
  const tones = next(11), marks = next(11);
  const grey = (v) => 0xff000000 | (v << 16) | (v << 8) | v;
  return {
    ...head, size, planes, zone,
    print: Uint32Array.from(red, (r, i) => 0xff000000 | (blue[i] << 16) | (green[i] << 8) | r),
    tones: Uint32Array.from(tones, grey), marks: Uint32Array.from(marks, grey),
    sum: new Float32Array(size),
  };
}

export function paint(file, outputs, midGreyLux, context, inZones) {
  const { sum, size, width } = file;
  sum.fill(0);
  for (const { name, scale, codes } of file.planes) {
    const output = name === "" ? 1 : outputs[name] ?? 0;
    if (output <= 0) continue;
    const light = Float32Array.from({ length: 256 }, (_, code) => output * scale * (code / 255) ** 2);
    for (let i = 0; i < size; i++) sum[i] += light[codes[i]];
  }
  if (context.canvas.width !== width) Object.assign(context.canvas, { width, height: file.height });
  const image = context.createImageData(width, file.height);
  const pixels = new Uint32Array(image.data.buffer);
  const scaled = (PLACES - 1) ** 2 / (midGreyLux * file.table_end);
  for (let i = 0; i < size; i++) {
    const place = Math.min(PLACES - 1, (Math.sqrt(sum[i] * scaled) + 0.5) | 0);
    pixels[i] = inZones ? zoned(file, file.zone[place], i % width, (i / width) | 0) : file.print[place];
  }
  context.putImageData(image, 0, 0);
}

function zoned(file, zone, x, y) {
  const marked = zone >= WHITE_FROM ? (x + y) % 8 < 3 : zone <= BLACK_TO && x % 7 < 2 && y % 7 < 2;
  return (marked ? file.marks : file.tones)[zone];
}
