// The shipped notebooks run under nbclient, Jupyter's own runner, with our kernel; the result is valid by the official
// schema, and the numbers are those of our own runner.
import { execFileSync, spawnSync } from "node:child_process";
import { cpSync, mkdtempSync, readdirSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import type { Output } from "../../src/notebook/notebook-shape.js";
import { readNotebook } from "../../src/notebook/read-notebook.js";
import { sized } from "../house/size.js";

const path = (name: string) => fileURLToPath(new URL(name, import.meta.url));
const main = path("../../dist/cli/main.js");
/** What a reader of the text alone sees. */
const textOf = (o: Output) =>
  o.output_type === "stream" ? o.text : o.output_type === "error" ? o.evalue : o.data["text/plain"];
const has = spawnSync("/usr/bin/python3", ["-c", "import nbclient, nbformat, jupyter_client"]).status === 0;
const folder = mkdtempSync(join(tmpdir(), "nightyield-nbclient-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe.skipIf(!has && !process.env.CI)("triage.ipynb under nbclient (skipped without python3-nbclient)", () => {
  it("runs, validates, and prints what our own runner prints", () => {
    execFileSync(process.execPath, [main, "kernel", "install", "--prefix", folder]);
    // Where it lies, it takes the sample nights beside it; every day a part of them.
    const notebook = join(folder, "notebooks", "triage.ipynb");
    cpSync(path("../../notebooks/triage.ipynb"), notebook);
    const nights = path("../../sample-data/nights");
    readdirSync(nights, { recursive: true, encoding: "utf8" })
      .filter((name) => statSync(join(nights, name)).isFile())
      .filter((_, i) => i % sized(3, 1) === 0)
      .forEach((name) => {
        cpSync(join(nights, name), join(folder, "sample-data", "nights", name));
      });
    const { stdout, stderr, status } = spawnSync(
      "/usr/bin/python3",
      [path("notebook-nbclient.py"), notebook, dirname(notebook)],
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
