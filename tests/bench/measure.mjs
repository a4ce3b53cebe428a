// Measuring a 6.4 Mpx 16-bit frame: time by frame, and beside it sep, the general-purpose C source-extraction library
// (background, extraction at 3 sigma, half-flux radii), where python3-sep is there. Interleaved runs; look at the ratio.
import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { cpus, tmpdir } from "node:os";
import { join } from "node:path";
import { measureFrame } from "../../dist/measure/measure-frame.js";
import { openFile } from "../../dist/read/file-bytes.js";
import { firstImage, openPixels } from "../../dist/read/hdu.js";
import { frameBytes } from "./frame-bytes.mjs";

const width = 3096;
const height = 2080;
const stars = 3500;
const runs = 15;
let state = 7;
const uniform = () => {
  state = (state * 48271) % 2147483647;
  return state / 2147483647;
};
const normal = () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
const sky = new Float32Array(width * height).fill(900);
for (let k = 0; k < stars; k++) {
  const x = uniform() * width;
  const y = uniform() * height;
  const peak = 60 * uniform() ** -1.1;
  for (let py = Math.max(0, Math.floor(y) - 14); py < Math.min(height, y + 15); py++)
    for (let px = Math.max(0, Math.floor(x) - 14); px < Math.min(width, x + 15); px++)
      sky[py * width + px] += Math.min(60000, peak) * (1 + ((px - x) ** 2 + (py - y) ** 2) / 12) ** -3;
}
const bytes = frameBytes(width, height);
const view = new DataView(bytes.buffer);
for (let i = 0; i < sky.length; i++)
  view.setInt16(
    2880 + 2 * i,
    Math.max(0, Math.min(65535, Math.round(500 + sky[i] + Math.sqrt(sky[i]) * normal()))) - 32768,
  );
const folder = mkdtempSync(join(tmpdir(), "nightyield-bench-"));
const path = join(folder, "frame.fits");
writeFileSync(path, bytes);

const script = `
import sys, time, numpy as np, sep
from astropy.io import fits
t = time.perf_counter()
with fits.open(sys.argv[1], memmap=False) as f: img = np.ascontiguousarray(f[0].data, dtype=np.float32)
b = sep.Background(img, bw=64, bh=64, fw=3, fh=3); s = img - b.back()
sep.set_extract_pixstack(2000000)
o = sep.extract(s, 3, err=b.globalrms, minarea=5)
sep.flux_radius(s, o["x"], o["y"], 6.0 * o["a"], 0.5, subpix=5)
print((time.perf_counter() - t) * 1e3, len(o))`;
let measured;
const ours = [];
const theirs = [];
let found = 0;
for (let run = 0; run < runs; run++) {
  const started = performance.now();
  const file = openFile(path);
  const { source, hdu } = firstImage(file);
  measured = measureFrame(openPixels(source, hdu), { electronsPerAdu: 1, scratch: measured?.scratch });
  file.close();
  ours.push(performance.now() - started);
  if (run % 3 !== 2) continue;
  const sep = spawnSync("/usr/bin/python3", ["-c", script, path], { encoding: "utf8" });
  if (sep.status !== 0) continue;
  const [ms, count] = sep.stdout.split(" ").map(Number);
  theirs.push(ms);
  found = count;
}
rmSync(folder, { recursive: true });
const sorted = ours.slice(3).sort((a, b) => a - b);
const at = (list) => list[list.length >> 1];
console.log(
  `node ${process.version}, ${cpus()[0].model}, ${width} x ${height} px, ${measured.stars.count} stars listed, FWHM ${measured.fwhmPx.toFixed(3)} px`,
);
console.log(
  `first frame ${ours[0].toFixed(0)} ms; then min ${sorted[0].toFixed(1)} ms, median ${at(sorted).toFixed(1)} ms, max ${sorted.at(-1).toFixed(1)} ms`,
);
if (theirs.length > 0) {
  theirs.sort((a, b) => a - b);
  console.log(
    `sep: median ${at(theirs).toFixed(0)} ms for ${found} objects; ratio ${(at(theirs) / at(sorted)).toFixed(1)}`,
  );
} else console.log("sep is not there to compare with");
