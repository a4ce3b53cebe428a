// A whole night: two workers against one on frames of 6.4 Mpx, memory over many frames, and a second run over 4,000
// unchanged frames. Wall time counts here, so the machine should have nothing else to do; the load is printed.
import { spawnSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, symlinkSync, writeFileSync } from "node:fs";
import { cpus, loadavg, tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { measureNight } from "../../dist/night.js";
import { parseScenario } from "../../dist/simulate/scenario.js";
import { writeNights } from "../../dist/simulate/write-night.js";

if (process.argv[2] === "one-run") {
  // A process of its own, so that memory is that of one run.
  const [night, jobs] = process.argv.slice(3);
  const rss = [];
  let measuredMs = 0;
  const [startedMs, startedCpu] = [performance.now(), process.cpuUsage()];
  await measureNight([night], {
    version: "bench",
    jobs: Number(jobs),
    onProgress(done, total) {
      if (done % Math.ceil(total / 10) === 0) rss.push(Math.round(process.memoryUsage.rss() / 1e6));
      if (done === total) measuredMs = performance.now() - startedMs;
    },
  });
  const { user, system } = process.cpuUsage(startedCpu);
  console.log(JSON.stringify({ seconds: measuredMs / 1000, cpuSeconds: (user + system) / 1e6, rss }));
  process.exit(0);
}

const frames = Number(process.argv[2] ?? 200);
const path = (name) => fileURLToPath(new URL(name, import.meta.url));
const folder = mkdtempSync(join(tmpdir(), "nightyield-bench-"));
console.log(`${cpus()[0].model}, ${cpus().length} cores, Node ${process.version}, load ${loadavg()[0].toFixed(1)}`);

try {
  const scenario = JSON.parse(readFileSync(path("../scenarios/null-night.json"), "utf8"));
  Object.assign(scenario.camera, { width: 3096, height: 2080 });
  const [big] = writeNights(parseScenario(JSON.stringify(scenario), "big"), join(folder, "big"), { frames: 4 }).folders;
  const many = join(folder, "many");
  mkdirSync(many);
  const four = readdirSync(big);
  for (let i = 0; i < frames; i++) symlinkSync(join(big, four[i % 4]), join(many, `sub_${i}.fits`));
  const best = {};
  for (const jobs of [1, 2, 1, 2, 1, 2]) {
    const { stdout } = spawnSync(process.execPath, [path("night.mjs"), "one-run", many, String(jobs)]);
    const { seconds, cpuSeconds, rss } = JSON.parse(stdout.toString());
    best[jobs] = Math.min(best[jobs] ?? seconds, seconds);
    console.log(
      `${jobs} at a time: ${(frames / seconds).toFixed(1)} frames/s, ${((1000 * cpuSeconds) / frames).toFixed(0)} ms of processor time a frame; memory ${rss.join(" ")} MB`,
    );
  }
  console.log(`two workers are ${(best[1] / best[2]).toFixed(2)} times one`);

  const [small] = writeNights(
    parseScenario(readFileSync(path("../scenarios/cloud.json"), "utf8"), "cloud"),
    join(folder, "small"),
  ).folders;
  const night = join(folder, "night");
  mkdirSync(night);
  const bytes = readdirSync(small).map((file) => readFileSync(join(small, file)));
  for (let i = 0; i < 4000; i++) {
    // The same stars, but each frame a content of its own.
    const copy = Buffer.from(bytes[i % bytes.length]);
    copy.writeUInt16BE((copy.readUInt16BE(20_000) + i) & 0xffff, 20_000);
    writeFileSync(join(night, `sub_${i}.fits`), copy);
  }
  const run = (command, out) => {
    const started = performance.now();
    const { status, stderr } = spawnSync(process.execPath, [
      ...[path("../../dist/cli/main.js"), command, night, "--out", join(folder, out), "--store", join(folder, "store")],
    ]);
    if (status > 1) throw new Error(stderr.toString());
    return (performance.now() - started) / 1000;
  };
  console.log(`first run over 4,000 small frames: measure ${run("measure", "a.ecsv").toFixed(1)} s`);
  for (let i = 0; i < 3; i++)
    console.log(
      `second run: measure ${run("measure", "b.ecsv").toFixed(2)} s, triage with report ${run("triage", "t").toFixed(2)} s`,
    );
  console.log(`tables equal: ${readFileSync(join(folder, "a.ecsv")).equals(readFileSync(join(folder, "b.ecsv")))}`);
  console.log(`load at the end ${loadavg()[0].toFixed(1)}`);
} finally {
  rmSync(folder, { recursive: true, force: true });
}
