// The shipped notebooks run under nbclient, Jupyter's own runner, with our kernel; the result is valid by the official
// schema, and the numbers are those of our own runner.
import { execFileSync, spawnSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import type { Output } from "../../src/notebook/notebook-shape.js";
import { readNotebook } from "../../src/notebook/read-notebook.js";

const path = (name: string) => fileURLToPath(new URL(name, import.meta.url));
const main = path("../../dist/cli/main.js");
const notebook = path("../../notebooks/triage.ipynb");
/** What a reader of the text alone sees. */
const textOf = (o: Output) =>
  o.output_type === "stream" ? o.text : o.output_type === "error" ? o.evalue : o.data["text/plain"];
const has = spawnSync("/usr/bin/python3", ["-c", "import nbclient, nbformat, jupyter_client"]).status === 0;
const folder = mkdtempSync(join(tmpdir(), "nightyield-nbclient-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe.skipIf(!has && !process.env.CI)("triage.ipynb under nbclient (skipped without python3-nbclient)", () => {
  it("runs, validates, and prints what our own runner prints", () => {
    execFileSync(process.execPath, [main, "kernel", "install", "--prefix", folder]);
    const { stdout, stderr, status } = spawnSync(
      "/usr/bin/python3",
      [path("notebook-nbclient.py"), notebook, path("../../notebooks")],
      { encoding: "utf8", env: { ...process.env, JUPYTER_PATH: join(folder, "share", "jupyter") } },
    );
    expect(status, stderr).toBe(0);
    const theirs: string[][] = JSON.parse(stdout);
    const own = join(folder, "own.ipynb");
    execFileSync(process.execPath, [main, "run", notebook, "--out", own]);
    const ours = readNotebook(own)
      .cells.filter((cell) => cell.cell_type === "code")
      .map(({ outputs }) => outputs.map(textOf));
    expect(theirs).toEqual(ours);
    expect(theirs.flat().join("")).toContain("subs are worth stacking");
    expect(theirs.flat().length).toBeGreaterThan(9);
  }, 180_000);
});
