// verify, as the friend calls it who got a bundle: what was not touched agrees; one number that somebody changed, in the
// table, in a summary or in what a notebook shows, is named by file, row and column; a sub that is not there is named.
import { spawnSync } from "node:child_process";
import { cpSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { type BundleManifest, manifestName } from "../../src/notebook/bundle-manifest.js";
import type { CodeCell } from "../../src/notebook/notebook-shape.js";
import { parseNotebook } from "../../src/notebook/parse-notebook.js";
import { writeNotebook } from "../../src/notebook/write-notebook.js";
import { readZip, writeZip } from "../../src/notebook/zip.js";
import { readEcsv, writeEcsv } from "../../src/terms/ecsv.js";
import { type NumberColumnName, withColumns } from "../../src/terms/frame-table.js";
import { code, notebookOf } from "./notebook-kernels.js";
import { nightOf } from "./spawned.js";
import { triaged } from "./triaged.js";

const root = fileURLToPath(new URL("../../", import.meta.url));
const folder = mkdtempSync(join(tmpdir(), "nightyield-verify-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const run = (...args: string[]) =>
  spawnSync(process.execPath, [join(root, "dist/cli/main.js"), ...args], { encoding: "utf8", cwd: folder });

const textsOf = (zip: Uint8Array) =>
  new Map(readZip(zip, "zip").map(({ name, bytes }) => [name, Buffer.from(bytes).toString("utf8")]));
const bundled = (name = "plain.zip") => textsOf(readFileSync(join(folder, name)));

/** The bundle with something changed in it, as somebody with an editor would leave it. */
function altered(change: (files: Map<string, string>) => void, of = "plain.zip"): string {
  const files = bundled(of);
  change(files);
  const entries = [...files].map(([name, text]) => ({ name, bytes: Buffer.from(text) }));
  writeFileSync(join(folder, "altered.zip"), writeZip(entries));
  return "altered.zip";
}

function changeCells(files: Map<string, string>, ...cells: (readonly [NumberColumnName, number])[]): void {
  let table = readEcsv(files.get("frames.ecsv")!, "frames.ecsv");
  for (const [column, row] of cells) {
    const values = Float64Array.from(table[column], (value, i) => (i === row ? value * 1.0001 : value));
    table = withColumns(table, { [column]: values });
  }
  files.set("frames.ecsv", writeEcsv(table));
}

/** `file, row, column` of what is said to be no longer as it was bundled. */
const named = (stderr: string) =>
  stderr
    .split("\n")
    .filter((line) => line.includes("when the bundle was made"))
    .map((line) => line.trim().split(":")[0]!);
const fileOf = (row: number) => readEcsv(bundled().get("frames.ecsv")!, "frames.ecsv").file[row]!;

beforeAll(async () => {
  nightOf("cloud", join(folder, "sky"), 12);
  await triaged([join(folder, "sky/nights")], join(folder, "out"));
  expect(run("bundle", "out", "--out", "plain.zip").status).toBe(0);
  // A small notebook instead of the shipped one, so that each check takes a second.
  const notebook = notebookOf(
    code("p", 'const folder = ".";', "parameters"),
    code(
      "sum",
      'import { framesOf, openNight } from "nightyield";\nconst frames = framesOf(await openNight(folder));\nconsole.log(frames.length + " subs, " + frames.sum("exposureS") + " s");\nframes.median("fwhmPx");',
    ),
  );
  writeFileSync(join(folder, "out/triage.ipynb"), writeNotebook(notebook));
  const ended = run("bundle", "out", "--out", "night.zip");
  expect([ended.status, ended.stderr]).toEqual([0, expect.any(String)]);
}, 60_000);

describe("verify", () => {
  it("finds nothing to say of what was not touched, in another folder, with the subs and without", () => {
    for (const args of [["plain.zip"], ["night.zip", "--subs", "sky/nights"]]) {
      const ended = run("verify", ...args);
      expect([ended.status, named(ended.stderr)], ended.stdout + ended.stderr).toEqual([0, []]);
      expect(ended.stdout).toMatch(/^same {5}every cell of the table, .*: \d+ values compared$/m);
      expect(ended.stdout).toContain("Everything that was compared agrees.");
    }
  });

  it.each(["weight", "effectiveExposureS", "exposureS", "backgroundAdu", "fwhmPx", "sensorTempC"] as const)(
    "names the one %s that was changed by 1 in 10,000, and no other",
    (column) => {
      const ended = run(
        "verify",
        altered((files) => changeCells(files, [column, 5])),
      );
      expect([ended.status, named(ended.stderr)]).toEqual([1, [`frames.ecsv, ${fileOf(5)}, ${column}`]]);
    },
  );

  it("names both of two changed numbers", () => {
    const ended = run(
      "verify",
      altered((files) => changeCells(files, ["noiseAdu", 2], ["fwhmPx", 7])),
    );
    expect(ended.status).toBe(1);
    expect(named(ended.stderr)).toEqual(
      expect.arrayContaining([`frames.ecsv, ${fileOf(2)}, noiseAdu`, `frames.ecsv, ${fileOf(7)}, fwhmPx`]),
    );
  });

  it("names the changed number of a notebook's output, with what comes out when it is run again", () => {
    const change = (files: Map<string, string>) => {
      const notebook = parseNotebook(files.get("triage.ipynb")!, "triage.ipynb");
      const cell = notebook.cells.find(({ id }) => id === "sum") as CodeCell;
      const text = JSON.stringify(cell.outputs);
      expect(text).toMatch(/12 subs, /);
      const outputs = JSON.parse(text.replace("12 subs, ", "13 subs, "));
      const cells = notebook.cells.map((each) => (each.id === "sum" ? { ...cell, outputs } : each));
      files.set("triage.ipynb", writeNotebook({ ...notebook, cells }));
    };
    const ended = run("verify", altered(change, "night.zip"));
    expect([ended.status, named(ended.stderr)]).toEqual([1, ["triage.ipynb, cell id sum, output 1"]]);
    expect(ended.stderr).toMatch(
      /triage\.ipynb, cell \d+ \(id sum\), .*: 13 subs, \d+ s in the bundle, 12 subs, \d+ s now/,
    );
  });

  it("names the part of the summary whose number was changed", () => {
    const change = (files: Map<string, string>) => {
      const summary = JSON.parse(files.get("summary.json")!);
      summary.groups[0].count.keep += 1;
      summary.headline = summary.headline.replace(/\d+/, "99");
      files.set("summary.json", `${JSON.stringify(summary, null, 1)}\n`);
    };
    const ended = run("verify", altered(change));
    expect([ended.status, named(ended.stderr)]).toEqual([
      1,
      ["summary.json, headline, value", "summary.json, groups[0], value"],
    ]);
    expect(ended.stderr).toMatch(/summary\.json, groups, \[0\]\.count\.keep: \d+ in the bundle, \d+ now/);
  });

  it("names the one sub that is missing and nothing else; the others are measured again", () => {
    cpSync(join(folder, "sky/nights"), join(folder, "fewer"), { recursive: true });
    const names = readdirSync(join(folder, "fewer"), { recursive: true, encoding: "utf8" });
    const gone = names
      .filter((name) => /\.fits/.test(name))
      .sort()[3]!
      .replaceAll("\\", "/");
    rmSync(join(folder, "fewer", gone));
    const ended = run("verify", "plain.zip", "--subs", "fewer");
    const lines = ended.stderr.split("\n").filter((line) => line.includes(" in the bundle, "));
    expect([ended.status, lines]).toEqual([1, [`  the subs, ${gone}, file: was there in the bundle, is missing now`]]);
    expect(ended.stdout).toMatch(/1 of 12 files are missing, so these columns, .* were left out: .*weight/);
  });

  it("reads a bundle of a version that kept no parts", () => {
    const ended = run(
      "verify",
      altered((files) => {
        const { parts, ...manifest } = JSON.parse(files.get(manifestName)!) as BundleManifest;
        expect(parts?.rows.length).toBe(12);
        files.set(manifestName, JSON.stringify(manifest));
      }),
    );
    expect([ended.status, ended.stdout]).toEqual([0, expect.stringContaining("An earlier version made this bundle")]);
  });
});
