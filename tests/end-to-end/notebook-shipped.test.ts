// The shipped notebooks, run from top to bottom in our kernel and in tslab, written by others, on what triage makes of the
// sample nights: both give the same, and what they tell of the night is what the truth tables beside it say.
import { cpSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, symlinkSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { makeBundle } from "../../src/notebook/make-bundle.js";
import { type CodeCell, type Notebook, type Output, tagsOf } from "../../src/notebook/notebook-shape.js";
import { parametersOf } from "../../src/notebook/parameters.js";
import { parseNotebook } from "../../src/notebook/parse-notebook.js";
import { readNotebook } from "../../src/notebook/read-notebook.js";
import { type NotebookRun, runNotebook } from "../../src/notebook/run-notebook.js";
import { writeTriageNotebook } from "../../src/notebook/triage-notebook.js";
import { verifyBundle } from "../../src/notebook/verify-bundle.js";
import { writeNotebook } from "../../src/notebook/write-notebook.js";
import { readZip, writeZip } from "../../src/notebook/zip.js";
import { sampleStore } from "../house/sample-store.js";
import { full } from "../house/size.js";
import { own, tslab } from "./notebook-kernels.js";
import { triaged } from "./triaged.js";

const root = fileURLToPath(new URL("../../", import.meta.url));
const shipped = join(root, "notebooks");
const names = readdirSync(shipped).filter((name) => name.endsWith(".ipynb"));
const folder = mkdtempSync(join(tmpdir(), "nightyield-shipped-"));
const out = join(folder, "out");
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const now = () => new Date();

beforeAll(async () => {
  await triaged([join(root, "sample-data/nights")], out, { jobs: 2, store: sampleStore() });
  // Where the package is installed, as it is for a user; tslab finds it no other way.
  mkdirSync(join(folder, "node_modules"));
  symlinkSync(root, join(folder, "node_modules", "nightyield"), "junction");
}, 60_000);

const codeCells = ({ cells }: Notebook) => cells.filter((cell): cell is CodeCell => cell.cell_type === "code");
/** What a cell tells without pictures, however it is told. */
const textOf = (outputs: readonly Output[]) =>
  outputs
    .map((o) => (o.output_type === "stream" ? o.text : o.output_type === "error" ? "" : String(o.data["text/plain"])))
    .join("")
    .trimEnd();
const told = (notebook: Notebook) =>
  codeCells(notebook)
    .filter((cell) => !tagsOf(cell).includes("injected-parameters"))
    .map(({ id, outputs }) => [id, textOf(outputs)] as const);

function run(name: string, kernel: typeof own): Promise<NotebookRun> {
  const notebook = readNotebook(join(shipped, name));
  const place = parametersOf(notebook)[0]!.name;
  const parameters = { [place]: place === "folders" ? ["out"] : "out" };
  return runNotebook(notebook, { folder, now, kernel, parameters });
}
const ownRuns = new Map<string, Promise<NotebookRun>>();
/** A shipped notebook as our kernel has run it: once for all tests that look at it. */
function ownRun(name: string): Promise<NotebookRun> {
  const ran = ownRuns.get(name) ?? run(name, own);
  ownRuns.set(name, ran);
  return ran;
}
/** A result of triage with its notebook executed there: once for all tests that look at it. */
let executed: Promise<string> | undefined;
function executedResult(): Promise<string> {
  executed ??= (async () => {
    const place = join(folder, "result");
    cpSync(out, place, { recursive: true });
    expect(await writeTriageNotebook(place, { now })).toEqual([]);
    return place;
  })();
  return executed;
}

/** Start times of the subs that a cause truly spoiled, in the sample nights. */
function truthOf(cause: string): number[] {
  return readdirSync(join(root, "sample-data/truth")).flatMap((file) => {
    const lines = readFileSync(join(root, "sample-data/truth", file), "utf8").split("\n");
    const rows = lines
      .filter((line) => line !== "" && !line.startsWith("#"))
      .map((line) => line.replaceAll('"', "").split(","));
    const [head, ...body] = rows as [string[], ...string[][]];
    const at = (name: string) => head.indexOf(name);
    const spoiled = body.filter((row) => row[at("cause")] === cause && row[at("verdict")] !== "keep");
    return spoiled.map((row) => Date.parse(row[at("startUtc")]!));
  });
}

describe("the shipped notebooks", () => {
  it.each(names)("%s is kept without outputs, as Jupyter writes it, and imports nothing but the library", (name) => {
    const text = readFileSync(join(shipped, name), "utf8");
    const notebook = parseNotebook(text, name);
    expect(writeNotebook(notebook)).toBe(text);
    expect(codeCells(notebook).flatMap(({ outputs }) => outputs)).toEqual([]);
    const sources = codeCells(notebook).map(({ source }) => source);
    const imported = sources.flatMap((source) => [...source.matchAll(/\b(?:from|import|require)\s*\(?\s*"([^"]+)"/g)]);
    expect(new Set(imported.map((match) => match[1]))).toEqual(new Set(["nightyield"]));
    expect(parametersOf(notebook)[0]?.name).toMatch(/^folders?$/);
    expect(codeCells(notebook).at(-1)!.id).toBe("conclusion");
  });

  it.each(names)(
    "%s runs in both kernels and tells the same, and once more the same",
    async (name) => {
      const startedMs = performance.now();
      // What makes one notebook the same once more, or in another kernel, makes the others the same: in CI all is run.
      const twice = full || name === "triage.ipynb";
      const inBoth = twice || name === "causes.ipynb";
      const [ours, theirs, again] = await Promise.all([
        ownRun(name),
        inBoth ? run(name, tslab) : null,
        twice ? run(name, own) : null,
      ]);
      console.log(
        `${name}: ${((performance.now() - startedMs) / 1000).toFixed(1)} s ${twice ? "twice" : "once"} in ours and ${inBoth ? "once" : "not"} in the other kernel, at once`,
      );
      expect(ours.failed).toEqual([]);
      // Pictures and charts with them, to the last byte.
      if (again !== null) expect(again.notebook).toEqual(ours.notebook);
      if (theirs !== null) expect(theirs.failed).toEqual([]);
      if (theirs !== null) expect(told(theirs.notebook)).toEqual(told(ours.notebook));
      const conclusion = told(ours.notebook).at(-1)![1];
      expect(conclusion).toMatch(/\d/);
      expect(conclusion).not.toMatch(/NaN|undefined|Infinity|null|\[object/);
      const broken = told(ours.notebook).filter(([, text]) => /NaN|undefined|\[object/.test(text));
      expect(broken).toEqual([]);
    },
    120_000,
  );

  it("causes.ipynb tells the story that the truth tables tell", async () => {
    const ran = await ownRun("causes.ipynb");
    // Between subs of the sample nights; an episode may begin or end with the neighbour.
    const spacingMs = 6 * 60_000;
    const episodes = new Map(told(ran.notebook)).get("episodes-table")!;
    for (const [cause, words] of [
      ["cloud", "cloud"],
      ["dew", "dew"],
      ["warm-sensor", "warm sensor"],
      ["twilight", "twilight"],
      ["low-altitude", "low altitude"],
      ["focus", "focus"],
    ] as const) {
      const truth = truthOf(cause);
      const spans = episodes
        .split("\n")
        .filter((line) => line.startsWith(words))
        .map((line) =>
          [...line.matchAll(/(\d\d-\d\d) (\d\d:\d\d)/g)].map((m) => Date.parse(`2025-${m[1]}T${m[2]}:00Z`)),
        );
      const within = truth.filter((ms) => spans.some(([from, to]) => ms >= from! - spacingMs && ms <= to! + spacingMs));
      console.log(`${cause}: ${within.length} of ${truth.length} truly spoiled subs lie in its episodes`);
      expect(truth.length, cause).toBeGreaterThan(0);
      expect(within.length / truth.length, cause).toBeGreaterThanOrEqual(0.9);
    }
  }, 60_000);
});

describe("a bundle with triage.ipynb in it", () => {
  it("shows what the rounded table gives, and agrees when it is run again; an altered number is named", async () => {
    const place = await executedResult();
    const exact = readFileSync(join(place, "triage.ipynb"), "utf8");
    const { zip, manifest } = await makeBundle(place, { version: "test", now });
    expect(manifest.privacy.join("\n")).toContain("without pictures of subs: triage.ipynb");
    const verify = (bytes: Uint8Array) => verifyBundle(bytes, { file: "shared.zip", version: "test", now });
    const checks = await verify(zip);
    expect(checks.flatMap(({ differences }) => differences)).toEqual([]);
    const outputs = checks.find(({ what }) => what.startsWith("outputs of triage.ipynb"))!;
    console.log(`${outputs.compared} values of the outputs of triage.ipynb were compared`);
    expect([outputs.compared > 30, outputs.notes]).toEqual([true, []]);
    const entries = readZip(zip, "shared.zip");
    const bundled = entries.find(({ name }) => name === "triage.ipynb")!;
    const text = Buffer.from(bundled.bytes).toString("utf8");
    expect([exact.includes("image/png;base64"), text.includes("image/png;base64")]).toEqual([true, false]);
    const altered = text.replace(
      /(\d+) of 178 subs are worth stacking \(/,
      (_, n) => `${Number(n) + 1} of 178 subs are worth stacking (`,
    );
    expect(altered).not.toBe(text);
    const others = entries.filter((entry) => entry !== bundled);
    const differing = (
      await verify(writeZip([...others, { name: bundled.name, bytes: Buffer.from(altered) }]))
    ).flatMap(({ differences }) => differences);
    // Once as a part that is not what it was, once as a line that comes out otherwise.
    expect(differing.filter(({ where }) => where === "triage.ipynb").map(({ row }) => row)).toEqual([
      expect.stringContaining("conclusion"),
      expect.stringContaining("conclusion"),
    ]);
  }, 60_000);
});

describe("triage.ipynb beside a result of triage", () => {
  it("is executed on what is there, without a path of this machine", async () => {
    const place = await executedResult();
    const text = readFileSync(join(place, "triage.ipynb"), "utf8");
    expect(text).not.toContain(folder);
    const notebook = parseNotebook(text, "triage.ipynb");
    const kept = readFileSync(join(place, "keep.txt"), "utf8").split("\n").filter(Boolean).length;
    expect(told(notebook).at(-1)![1]).toMatch(new RegExp(`^${kept} of 178 subs are worth stacking`));
    expect(codeCells(notebook).find((cell) => tagsOf(cell).includes("injected-parameters"))?.source).toContain(
      'const folder = "."',
    );
  }, 60_000);

  it("makes nothing fail: without a kernel it is written unexecuted, without a folder not at all", async () => {
    const place = join(folder, "no-kernel");
    cpSync(out, place, { recursive: true });
    const kernel = { name: "none", argv: [join(folder, "no-such-program")], interruptMode: "signal" } as const;
    expect(await writeTriageNotebook(place, { now, kernel })).toEqual([
      expect.stringMatching(/^triage\.ipynb was written but not run: The kernel none could not be started/),
    ]);
    expect(codeCells(readNotebook(join(place, "triage.ipynb"))).flatMap(({ outputs }) => outputs)).toEqual([]);
    const [note, ...more] = await writeTriageNotebook(join(out, "frames.ecsv", "below"), { now, kernel });
    expect([note, more]).toEqual([expect.stringMatching(/^triage\.ipynb was not written: /), []]);
  });
});
