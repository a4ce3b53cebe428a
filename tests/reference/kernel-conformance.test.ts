// The kernel under the Jupyter project's own conformance suite, jupyter_kernel_test (Debian: python3-jupyter-kernel-test).
import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { hasPython, python, withoutPython } from "./python.js";

const here = (name: string) => fileURLToPath(new URL(name, import.meta.url));
const prefix = mkdtempSync(join(tmpdir(), "nightyield-prefix-"));
afterAll(() => rmSync(prefix, { recursive: true, force: true }));
const there = hasPython("jupyter_kernel_test");

describe.skipIf(!there)(there ? "jupyter_kernel_test" : withoutPython("jupyter_kernel_test"), () => {
  it("passes whole: 12 tests, none skipped", () => {
    const main = here("../../dist/cli/main.js");
    expect(spawnSync(process.execPath, [main, "kernel", "install", "--prefix", prefix]).status).toBe(0);
    const ended = spawnSync(python, [here("kernel-conformance.py")], {
      encoding: "utf8",
      env: { ...process.env, JUPYTER_PATH: join(prefix, "share/jupyter") },
      timeout: 100_000,
    });
    console.log(ended.stderr.trim().split("\n").slice(-3).join(" "));
    expect(ended.stderr).toMatch(/Ran 12 tests in [\d.]+s\n\nOK$/m);
    expect(ended.stderr).not.toMatch(/skipped/);
    expect(ended.status).toBe(0);
  }, 120_000);
});
