// jupyter_client (Debian: python3-jupyter-client) starts, interrupts, restarts and shuts down the kernel.
import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { hasPython, python, withoutPython } from "./python.js";

interface Found {
  readonly readyS: number;
  readonly firstResult: string[];
  readonly linesRight: boolean;
  readonly interrupts: Record<string, { ename: string; waitedS: number; after: string[] }>;
  readonly idleInterrupt: string;
  readonly sideBySide: string[][];
  readonly heartbeatWhileBusy: boolean;
  readonly afterRestart: string;
  readonly shutdownWhileBusyS: number;
  readonly alive: boolean;
}

const here = (name: string) => fileURLToPath(new URL(name, import.meta.url));
const prefix = mkdtempSync(join(tmpdir(), "nightyield-prefix-"));
afterAll(() => rmSync(prefix, { recursive: true, force: true }));
const there = hasPython("jupyter_client");

describe.skipIf(!there)(there ? "jupyter_client" : withoutPython("jupyter_client"), () => {
  let found: Found;
  beforeAll(() => {
    spawnSync(process.execPath, [here("../../dist/cli/main.js"), "kernel", "install", "--prefix", prefix]);
    const ended = spawnSync(python, [here("kernel-client.py")], {
      encoding: "utf8",
      env: { ...process.env, JUPYTER_PATH: join(prefix, "share/jupyter") },
      timeout: 100_000,
    });
    expect(ended.status, ended.stderr).toBe(0);
    found = JSON.parse(ended.stdout);
    console.log(
      `ready after ${found.readyS.toFixed(2)} s; interrupts took ${Object.entries(found.interrupts)
        .map(([name, { waitedS }]) => `${name} ${waitedS.toFixed(2)} s`)
        .join(", ")}`,
    );
  }, 120_000);

  it("starts and runs", () => {
    expect(found.firstResult).toEqual(["2"]);
    expect(found.linesRight).toBe(true);
  });

  it("interrupts each kind of cell within a second; the session goes on", () => {
    expect(Object.keys(found.interrupts).length).toBe(6);
    for (const [name, { ename, waitedS, after }] of Object.entries(found.interrupts)) {
      expect(ename, name).toBe("KeyboardInterrupt");
      expect(waitedS, name).toBeLessThan(1);
      expect(after, name).toEqual(["42"]);
    }
    expect(found.idleInterrupt).toBe("ok");
  });

  it("keeps two kernels apart, hears the heart of a busy one", () => {
    expect(found.sideBySide).toEqual([["41"], ["1"]]);
    expect(found.heartbeatWhileBusy).toBe(true);
  });

  it("restarts to a new session and shuts down, also a busy one", () => {
    expect(found.afterRestart).toBe("Cannot find name 'kept'. (line 1, column 1)");
    expect(found.shutdownWhileBusyS).toBeLessThan(3);
    expect(found.alive).toBe(false);
  });
});
