// Reading and decoding a 6.4 Mpx 16-bit frame against one plain copy of its bytes plus the read itself, one after the other.
// Prints minimum and median of interleaved runs; the ratio is the figure to look at, not the milliseconds.
import { closeSync, mkdtempSync, openSync, readSync, rmSync, writeFileSync } from "node:fs";
import { cpus, tmpdir } from "node:os";
import { join } from "node:path";
import { openFile } from "../../dist/read/file-bytes.js";
import { firstImage, openPixels } from "../../dist/read/hdu.js";
import { frameBytes } from "./frame-bytes.mjs";

const width = 3096;
const height = 2080;
const runs = 31;
const folder = mkdtempSync(join(tmpdir(), "nightyield-bench-"));
const path = join(folder, "frame.fits");
const bytes = frameBytes(width, height);
let seed = 1;
for (let i = 2880; i < 2880 + width * height * 2; i++) {
  seed = (seed * 16807) % 2147483647;
  bytes[i] = seed & 0xff;
}
writeFileSync(path, bytes);

const pixels = new Uint16Array(width * height);
const raw = new Uint8Array(width * height * 2);
const other = new Uint8Array(raw.length);
const time = (work) => {
  const started = performance.now();
  work();
  return performance.now() - started;
};
const ours = () => {
  const file = openFile(path);
  const { source, hdu } = firstImage(file);
  openPixels(source, hdu).readRows(0, height, pixels);
  file.close();
};
const read = () => {
  const descriptor = openSync(path, "r");
  readSync(descriptor, raw, 0, raw.length, 2880);
  closeSync(descriptor);
};
const copy = () => other.set(raw);
const taken = { ours: [], read: [], copy: [] };
for (let run = 0; run < runs; run++)
  for (const [name, work] of Object.entries({ ours, read, copy })) taken[name].push(time(work));
const of = (name) => {
  const sorted = taken[name].slice(1).sort((a, b) => a - b);
  return { min: sorted[0], median: sorted[sorted.length >> 1] };
};
console.log(
  `node ${process.version}, ${cpus()[0].model}, ${width} x ${height} px, ${runs} interleaved runs, consumed ${pixels[12345] + other[999]}`,
);
for (const name of ["ours", "read", "copy"])
  console.log(`${name.padEnd(5)} min ${of(name).min.toFixed(2)} ms, median ${of(name).median.toFixed(2)} ms`);
const floor = of("read").median + of("copy").median;
const beyond = (of("ours").median - of("read").median) / of("copy").median;
console.log(
  `reading and decoding takes ${(of("ours").median / floor).toFixed(2)} times one copy of the bytes plus the read itself (goal: at most 3);`,
);
console.log(`the read taken off, decoding takes ${beyond.toFixed(2)} copies`);
rmSync(folder, { recursive: true });
