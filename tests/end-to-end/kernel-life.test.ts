// A kernel's life: interrupted, side by side with another, long-lived, orphaned, installed and removed.
import { spawn, spawnSync } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { prefixKernels, userKernels } from "../../src/kernel/kernel-spec.js";
import { sized } from "../house/size.js";
import { kernelProgram, root, Session } from "../standards/jupyter-session.js";

const folder = mkdtempSync(join(tmpdir(), "nightyield-life-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const alive = (pid: number) => {
  try {
    process.kill(pid, 0);
    return true;
  } catch {
    return false;
  }
};

/** For the tests that need nothing of their own kernel. */
let shared: Session;
beforeAll(async () => {
  shared = await (await Session.start()).ready();
});
afterAll(() => shared.stop());

describe("interrupts", () => {
  it.each([
    ["a loop", "for (;;) {}"],
    ["a loop in a callback", "[1].forEach(() => { for (;;) {} })"],
    ["a loop after await", "await new Promise((r) => setTimeout(r, 20)); for (;;) {}"],
    ["a loop after await of a value", "await 1; for (;;) {}"],
    ["a loop that prints", "for (;;) console.log('x')"],
    ["a long wait", "await new Promise((r) => setTimeout(r, 60_000))"],
    ["a loop that catches everything", "for (;;) { try { for (;;) {} } catch {} }"],
  ])("%s ends within a second and the session goes on", { retry: 2 }, async (_, code) => {
    await shared.run("let kept = 41; kept");
    const id = shared.begin(`const made = 1; ${code}`);
    await shared.until(() => shared.of(id).find((m) => m.type === "execute_input"), "execute_input");
    await new Promise((resolve) => setTimeout(resolve, 300));
    const began = performance.now();
    shared.send("interrupt_request", {}, "control");
    const { content } = await shared.answered(id);
    expect(performance.now() - began).toBeLessThan(1000);
    expect(content).toMatchObject({ status: "error", ename: "KeyboardInterrupt" });
    expect(await shared.text("kept + made")).toBe("42");
  });

  it("one that comes while nothing runs harms nothing", async () => {
    for (let i = 0; i < 3; i++) shared.send("interrupt_request", {}, "control");
    await new Promise((resolve) => setTimeout(resolve, 400));
    expect(await shared.text("1 + 1")).toBe("2");
  });
});

describe("kernels", () => {
  it("two side by side do not share names; one over ipc", async () => {
    const [a, b] = await Promise.all([
      Session.start(),
      Session.start(process.platform === "win32" ? {} : { transport: "ipc" }),
    ]);
    await Promise.all([a.ready(), b.ready()]);
    await Promise.all([a.run("const mine = 'a'"), b.run("const mine = 'b'")]);
    expect(await Promise.all([a.text("mine"), b.text("mine")])).toEqual(["'a'", "'b'"]);
    expect(await Promise.all([a.stop(), b.stop()])).toEqual([0, 0]);
  });

  const rounds = sized(60, 250);
  it(`memory stays flat over ${4 * rounds} executions, each of them a new version of the same cells`, async () => {
    const kernel = await (await Session.start()).ready();
    const heapMb = async () => {
      return Number(
        await kernel.text(
          "(await import('node:v8')).setFlagsFromString('--expose-gc'); (await import('node:vm')).runInNewContext('gc')(); process.memoryUsage().heapUsed / 1e6",
        ),
      );
    };
    // Before any collection that the test asks for: what V8 holds, garbage and all.
    const heldMb = async () => Number(await kernel.text("process.memoryUsage().heapTotal / 1e6"));
    const round = async (i: number) => {
      await kernel.run(`const step = ${i}; interface Row { n: number }`);
      await kernel.run("function twice(row: Row) { return { n: row.n * 2 }; }");
      await kernel.run("let rows: Row[] = Array.from({ length: 100 }, (_, n) => ({ n }));");
      await kernel.run("rows = rows.map(twice); rows[3]!.n + step");
    };
    for (let i = 0; i < 25; i++) await round(i);
    const heldBefore = await heldMb();
    const before = await heapMb();
    for (let i = 0; i < rounds; i++) await round(i);
    const heldAfter = await heldMb();
    const after = await heapMb();
    console.log(
      `in use ${before.toFixed(1)} MB after 100 executions, ${after.toFixed(1)} MB after ${4 * rounds} more; held ${heldBefore.toFixed(0)} and ${heldAfter.toFixed(0)} MB`,
    );
    expect(heldAfter).toBeLessThan(1.5 * heldBefore);
    expect(after - before).toBeLessThan(10);
    await kernel.stop();
  }, 120_000);

  it("an error thrown in a timer is told and does not end the session", async () => {
    const id = shared.begin(
      "setTimeout(() => { throw new Error('late trouble'); }, 5); Promise.reject(new Error('unseen')); await new Promise((r) => setTimeout(r, 60)); 'end'",
    );
    await shared.answered(id);
    const told = shared
      .of(id)
      .filter((m) => m.type === "stream")
      .map((m) => m.content.text)
      .join("");
    expect(told).toContain("late trouble");
    expect(told).toContain("unseen");
    expect(await shared.text("1")).toBe("1");
  });

  it("ends when the client that started it is killed, also in an endless loop", async () => {
    const file = join(folder, "connection.json");
    const parent = join(folder, "parent.mjs");
    writeFileSync(
      parent,
      `import { spawn } from "node:child_process";
const kernel = spawn(process.execPath, [${JSON.stringify(kernelProgram)}, "--connection-file", process.argv[2]], { stdio: "ignore" });
console.log(kernel.pid);
setInterval(() => {}, 1000);`,
    );
    const kernel = await (
      await Session.start({
        argv: (connection) => {
          writeFileSync(file, readFileSync(connection));
          return [process.execPath, parent, connection];
        },
      })
    ).ready();
    const pid = Number(await kernel.text("process.pid"));
    const id = kernel.begin("for (;;) {}");
    await kernel.until(() => kernel.of(id).find((m) => m.type === "execute_input"), "execute_input");
    expect(alive(pid)).toBe(true);
    kernel.process.kill("SIGKILL");
    const began = performance.now();
    while (alive(pid) && performance.now() - began < 10_000) await new Promise((resolve) => setTimeout(resolve, 100));
    const seconds = (performance.now() - began) / 1000;
    console.log(`the orphan ended after ${seconds.toFixed(1)} s`);
    expect(alive(pid)).toBe(false);
    await kernel.stop();
  }, 30_000);

  it("a connection file that cannot be used, or an address that is taken: a clear message, exit code 3", async () => {
    const broken = join(folder, "broken.json");
    writeFileSync(broken, '{ "ip": "127.0.0.1", "shell_port": 0 }');
    const ended = spawnSync(process.execPath, [kernelProgram, "--connection-file", broken], { encoding: "utf8" });
    expect(ended.status).toBe(3);
    expect(ended.stderr).toMatch(/broken\.json: shell_port is 0/);
    const second = spawn(process.execPath, [
      kernelProgram,
      "--connection-file",
      join(shared.folder, "connection.json"),
    ]);
    let stderr = "";
    second.stderr.on("data", (chunk) => {
      stderr += chunk;
    });
    expect(await new Promise((resolve) => second.on("exit", resolve))).toBe(3);
    expect(stderr).toMatch(/Cannot listen at 127\.0\.0\.1/);
    expect(await shared.text("1")).toBe("1");
  });
});

describe("nightyield kernel", () => {
  const main = join(root, "dist/cli/main.js");
  const call = (...args: string[]) =>
    spawnSync(process.execPath, [main, "kernel", ...args], {
      encoding: "utf8",
      env: { ...process.env, JUPYTER_DATA_DIR: join(folder, "data"), JUPYTER_PATH: "" },
    });

  it("install, list, remove", () => {
    expect(call("list", "--user").status).toBe(1);
    expect(call("install").status).toBe(0);
    const file = join(folder, "data/kernels/nightyield/kernel.json");
    const spec = JSON.parse(readFileSync(file, "utf8"));
    expect(spec).toMatchObject({ language: "typescript", interrupt_mode: "message", display_name: expect.any(String) });
    expect(spec.argv.at(-1)).toBe("{connection_file}");
    for (const path of spec.argv.slice(0, 2)) expect(existsSync(path)).toBe(true);
    expect(call("list", "--user")).toMatchObject({ status: 0, stdout: `${join(folder, "data/kernels/nightyield")}\n` });
    expect(call("remove").status).toBe(0);
    expect(existsSync(file)).toBe(false);
    expect(call("remove").status).toBe(1);
    expect(call("install", "--prefix", join(folder, "env")).status).toBe(0);
    expect(existsSync(join(folder, "env/share/jupyter/kernels/nightyield/kernel.json"))).toBe(true);
  });

  it.each([
    [[], "Say what to do"],
    [["paint"], "Say what to do"],
    [["install", "--user", "--prefix", "x"], "not both"],
    [["start"], "--connection-file FILE"],
    [["list", "more"], "'more' is too much"],
  ])("%j is a wrong call", (args, says) => {
    const ended = call(...args);
    expect(ended.status).toBe(2);
    expect(ended.stderr).toContain(says);
  });

  it("start serves, and an interrupt ends the cell and not the program", async () => {
    const kernel = await (
      await Session.start({ argv: (file) => [process.execPath, main, "kernel", "start", "--connection-file", file] })
    ).ready();
    await kernel.run("1");
    const id = kernel.begin("for (;;) {}");
    await new Promise((resolve) => setTimeout(resolve, 300));
    kernel.send("interrupt_request", {}, "control");
    expect((await kernel.answered(id)).content.ename).toBe("KeyboardInterrupt");
    expect(await kernel.text("1 + 1")).toBe("2");
    expect(await kernel.stop()).toBe(0);
  });

  // Folders from "Data files", jupyter.readthedocs.io, use/jupyter-directories.
  it.each([
    ["linux", "/home/a", {}, "/home/a/.local/share/jupyter/kernels"],
    ["linux", "/home/a", { XDG_DATA_HOME: "/data" }, "/data/jupyter/kernels"],
    ["darwin", "/Users/a", {}, "/Users/a/Library/Jupyter/kernels"],
    [
      "win32",
      "C:\\Users\\a",
      { APPDATA: "C:\\Users\\a\\AppData\\Roaming" },
      "C:\\Users\\a\\AppData\\Roaming/jupyter/kernels",
    ],
    ["linux", "/home/a", { JUPYTER_DATA_DIR: "/jd" }, "/jd/kernels"],
  ] as const)("%s %s %j", (platform, home, env, expected) => {
    expect(userKernels({ platform, home, env }).replaceAll("\\", "/")).toBe(expected.replaceAll("\\", "/"));
    expect(prefixKernels("/opt/env").replaceAll("\\", "/")).toBe("/opt/env/share/jupyter/kernels");
  });
});
