// The kernel beside tslab, the other TypeScript kernel, in one run, starts interleaved: time to ready (a first
// kernel_info_reply), to the first result, per expression, per declaration, memory of the process. Medians and minima.
// node tests/bench/kernel.mjs
import { spawn } from "node:child_process";
import { createHmac, randomUUID } from "node:crypto";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { createServer } from "node:net";
import { cpus, tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { Dealer, Subscriber } from "zeromq";

const root = fileURLToPath(new URL("../../", import.meta.url));
const tslab = join(dirname(createRequire(import.meta.url).resolve("tslab/package.json")), "bin/tslab");
const kernels = {
  nightyield: (file) => [join(root, "dist/kernel/main.js"), "--connection-file", file],
  tslab: (file) => [tslab, "kernel", `--config-path=${file}`],
};
const starts = 5;
const cellsEach = 40;
const folder = mkdtempSync(join(tmpdir(), "nightyield-bench-"));

const freePort = () =>
  new Promise((resolve) => {
    const server = createServer().listen(0, "127.0.0.1", () => {
      const { port } = server.address();
      server.close(() => resolve(port));
    });
  });

async function start(argv) {
  const key = randomUUID();
  const connection = { transport: "tcp", ip: "127.0.0.1", key, signature_scheme: "hmac-sha256" };
  for (const name of ["shell", "iopub", "stdin", "control", "hb"]) connection[`${name}_port`] = await freePort();
  const file = join(folder, `${randomUUID()}.json`);
  writeFileSync(file, JSON.stringify(connection));
  const shell = new Dealer({ linger: 0 });
  const iopub = new Subscriber({ linger: 0, receiveHighWaterMark: 0 });
  iopub.subscribe();
  const startedMs = performance.now();
  const child = spawn(process.execPath, argv(file), { cwd: root, stdio: "ignore" });
  shell.connect(`tcp://127.0.0.1:${connection.shell_port}`);
  iopub.connect(`tcp://127.0.0.1:${connection.iopub_port}`);
  const waiting = new Map();
  const heard = (frames) => {
    const at = frames.findIndex((frame) => frame.toString() === "<IDS|MSG>");
    const [header, parent, , content] = frames.slice(at + 2, at + 6).map((part) => JSON.parse(part.toString()));
    return { type: header.msg_type, parent: parent.msg_id, content };
  };
  // A cell is over when its reply and its idle are here.
  const note = (id, what) => {
    const state = waiting.get(id);
    if (state === undefined) return;
    Object.assign(state.seen, what);
    if (state.seen.reply && (state.seen.idle || !state.needsIdle)) {
      waiting.delete(id);
      state.resolve(state.seen.reply);
    }
  };
  void (async () => {
    for await (const frames of shell) {
      const { parent, content } = heard(frames);
      note(parent, { reply: content });
    }
  })();
  void (async () => {
    for await (const frames of iopub) {
      const { type, parent, content } = heard(frames);
      if (type === "status" && content.execution_state === "idle") note(parent, { idle: true });
    }
  })();
  const ask = (type, content, needsIdle) => {
    const id = randomUUID();
    const header = {
      msg_id: id,
      msg_type: type,
      session: "bench",
      username: "bench",
      date: new Date().toISOString(),
      version: "5.3",
    };
    const parts = [header, {}, {}, content].map((part) => JSON.stringify(part));
    const hmac = createHmac("sha256", key);
    for (const part of parts) hmac.update(part);
    const done = new Promise((resolve) => waiting.set(id, { resolve, seen: {}, needsIdle }));
    void shell.send(["<IDS|MSG>", hmac.digest("hex"), ...parts]);
    return done;
  };
  const run = (code) =>
    ask(
      "execute_request",
      { code, silent: false, store_history: true, user_expressions: {}, allow_stdin: false, stop_on_error: true },
      true,
    );
  return {
    child,
    ask,
    run,
    startedMs,
    close: () => {
      child.kill("SIGKILL");
      shell.close();
      iopub.close();
    },
  };
}

const timed = async (work) => {
  const began = performance.now();
  const reply = await work();
  if (reply.status !== "ok") throw new Error(JSON.stringify(reply));
  return performance.now() - began;
};
const memoryMb = (pid) => Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${pid}/status`, "utf8"))?.[1]) / 1024;
const median = (values) => [...values].sort((a, b) => a - b)[values.length >> 1];

const found = Object.fromEntries(
  Object.keys(kernels).map((name) => [name, { ready: [], first: [], expression: [], declaration: [], memory: [] }]),
);
for (let round = 0; round < starts; round++)
  for (const [name, argv] of Object.entries(kernels)) {
    const kernel = await start(argv);
    const times = found[name];
    await kernel.ask("kernel_info_request", {}, false);
    times.ready.push(performance.now() - kernel.startedMs);
    // The first cell's idle may be published before the subscription has arrived: its reply is enough.
    await kernel.ask(
      "execute_request",
      { code: "1 + 1", silent: false, store_history: true, user_expressions: {}, allow_stdin: false },
      false,
    );
    times.first.push(performance.now() - kernel.startedMs);
    // A subscription may arrive late, and a lost idle would be waited for for ever.
    const heardIdle = () => kernel.ask("kernel_info_request", {}, true).then(() => true);
    while (!(await Promise.race([heardIdle(), new Promise((resolve) => setTimeout(resolve, 1000, false))])));
    await kernel.run("let base = 1");
    for (let i = 0; i < cellsEach; i++) {
      times.expression.push(await timed(() => kernel.run(`base + ${i}`)));
      times.declaration.push(await timed(() => kernel.run(`const value${i} = base * ${i}`)));
    }
    if (process.platform === "linux") times.memory.push(memoryMb(kernel.child.pid));
    kernel.close();
  }
rmSync(folder, { recursive: true, force: true });

console.log(
  `Node ${process.version}, ${cpus()[0].model}, ${cpus().length} cores; ${starts} starts each, ${cellsEach} cells a kind and start`,
);
console.log("median (minimum)          nightyield            tslab   ratio of medians");
for (const [what, unit] of [
  ["ready", "ms"],
  ["first", "ms"],
  ["expression", "ms"],
  ["declaration", "ms"],
  ["memory", "MB"],
]) {
  const [ours, theirs] = [found.nightyield[what], found.tslab[what]];
  if (ours.length === 0) continue;
  const cell = (values) => `${median(values).toFixed(1)} (${Math.min(...values).toFixed(1)}) ${unit}`.padStart(18);
  console.log(
    `${what.padEnd(18)} ${cell(ours)} ${cell(theirs)} ${(median(theirs) / median(ours)).toFixed(1).padStart(10)}`,
  );
}
process.exit(0);
