// Measuring against SEP, the general-purpose C source-extraction library (../shared/tools/sep_baseline.py at 1.5 sigma), on
// simulated frames of 6.4 Mpx, reading included: the same frame, one thread each, both warmed up as a night of hundreds of
// frames is. Processor time is compared. Other work on the machine still lengthens it (shared caches and cores), so the two
// take turns, three frames of ours to one of SEP's: the ratio is the median over the turns of SEP's time to the mean of the
// three, garbage collection included. `best` is the quickest single frame. The floor is reading and decoding alone.
// usage: node tests/bench/measure.mjs [turns] [scene ...]
import { spawnSync } from "node:child_process";
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync } from "node:fs";
import { cpus, loadavg, tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { measureFrame } from "../../dist/measure/measure-frame.js";
import { openFile } from "../../dist/read/file-bytes.js";
import { firstImage, openPixels } from "../../dist/read/hdu.js";
import { parseScenario } from "../../dist/simulate/scenario.js";
import { writeNights } from "../../dist/simulate/write-night.js";

const turns = Number(process.argv[2] ?? 9);
const framesATurn = 3;
const warmUp = 12;
const path = (name) => fileURLToPath(new URL(name, import.meta.url));
const base = JSON.parse(readFileSync(path("../scenarios/null-night.json"), "utf8"));
Object.assign(base.camera, { width: 3096, height: 2080 });
base.nights[0].events = [];
/** The base scenario with changes. */
const like = (change) => {
  const scenario = structuredClone(base);
  scenario.nights[0].blocks = [{ ...scenario.nights[0].blocks[0], frames: 1 }];
  change(scenario);
  return scenario;
};
const whole = { fromMin: -60, toMin: 300 };
const scenes = {
  sharp: like(() => {}),
  soft: like((s) => (s.telescope.opticsPx = 4)),
  defocused: like((s) => s.nights[0].events.push({ kind: "focus-drift", fromMin: -60, blurPxPerHour: 6 })),
  trailed: like((s) => s.nights[0].events.push({ kind: "tracking-drift", ...whole, pxPerMin: 8, angleDeg: 30 })),
  "few stars": like((s) => (s.nights[0].blocks[0].exposureS = 1)),
  mosaic: like((s) => (s.camera.bayer = "RGGB")),
};

const folder = mkdtempSync(join(tmpdir(), "nightyield-bench-"));
const baseline = path("../../../shared/tools/sep_baseline.py");
const at = (list) => list.toSorted((a, b) => a - b)[list.length >> 1];
const cpuMs = (work) => {
  const before = process.cpuUsage();
  work();
  const { user, system } = process.cpuUsage(before);
  return (user + system) / 1000;
};
const open = (file, use) => {
  const opened = openFile(file);
  const { source, hdu } = firstImage(opened);
  const result = use(openPixels(source, hdu));
  opened.close();
  return result;
};
/** One process that measures the frame once and reports its processor time: SEP's, without its start. */
const sep = (file) => {
  const script = `
import sys, time, importlib.util
spec = importlib.util.spec_from_file_location("baseline", sys.argv[1]); m = importlib.util.module_from_spec(spec); spec.loader.exec_module(m)
m.once(sys.argv[2], 1.5)
t = time.process_time(); _, found = m.once(sys.argv[2], 1.5); print((time.process_time() - t) * 1e3, found["stars"])`;
  const { status, stdout } = spawnSync("/usr/bin/python3", ["-W", "ignore", "-c", script, baseline, file], {
    encoding: "utf8",
    env: { ...process.env, OMP_NUM_THREADS: "1", OPENBLAS_NUM_THREADS: "1" },
  });
  return status === 0 ? stdout.split(" ").map(Number) : null;
};

console.log(
  `node ${process.version}, ${cpus()[0].model}, ${cpus().length} processors, load ${loadavg()[0].toFixed(1)}`,
);
console.log(
  "processor time of a frame, ms (median)   ours    best   floor     SEP   ratio   stars: ours, SEP     FWHM px",
);
let scratch;
const wanted = process.argv.slice(3);
for (const [name, scenario] of Object.entries(scenes)) {
  if (wanted.length > 0 && !wanted.includes(name)) continue;
  const out = join(folder, name.replace(" ", "-"));
  writeNights(parseScenario(JSON.stringify(scenario), name), out);
  const night = join(out, "nights", readdirSync(join(out, "nights"))[0]);
  const file = join(
    night,
    readdirSync(night, { recursive: true }).find((f) => /\.fits$/.test(f) && !/dark|flat|bias/i.test(f)),
  );
  const options = { electronsPerAdu: scenario.camera.electronsPerAdu, bayer: scenario.camera.bayer ?? "" };
  const taken = { ours: [], floor: [], sep: [], ratio: [] };
  let measured;
  let found = Number.NaN;
  const measure = () =>
    cpuMs(() => {
      measured = open(file, (reader) => measureFrame(reader, { ...options, ...(scratch && { scratch }) }));
      scratch = measured.scratch;
    });
  for (let frame = 0; frame < warmUp; frame++) measure();
  for (let turn = 0; turn < turns; turn++) {
    const ours = Array.from({ length: framesATurn }, measure);
    taken.ours.push(...ours);
    taken.floor.push(cpuMs(() => open(file, (reader) => reader.readRows(0, reader.height, scratch.pixels))));
    const theirs = existsSync(baseline) ? sep(file) : null;
    if (theirs === null) continue;
    taken.sep.push(theirs[0]);
    taken.ratio.push((theirs[0] * framesATurn) / ours.reduce((sum, ms) => sum + ms, 0));
    found = theirs[1];
  }
  const [ours, floor] = [at(taken.ours), at(taken.floor)];
  const best = Math.min(...taken.ours);
  const [theirs, ratio] = taken.sep.length > 0 ? [at(taken.sep), at(taken.ratio)] : [Number.NaN, Number.NaN];
  const columns = [ours, best, floor].map((ms) => `${ms.toFixed(1).padStart(6)}  `).join("");
  console.log(
    `${name.padEnd(38)} ${columns}${theirs.toFixed(0).padStart(6)}  ${ratio.toFixed(1).padStart(6)}   ${String(measured.stars.count).padStart(11)}, ${String(found).padEnd(6)} ${measured.fwhmPx.toFixed(2).padStart(8)}`,
  );
}
rmSync(folder, { recursive: true });
