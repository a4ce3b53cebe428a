// The public library as a newcomer meets it: frames, tables, nights from anywhere. DataFrames are checked against danfojs'
// own arithmetic; examples in the documentation are compiled and run.
import { cpSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import ts from "typescript";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import * as library from "../../src/index.js";
import {
  CallError,
  framesOf,
  fromRows,
  gradeNight,
  limitsFor,
  markSubs,
  nightSummary,
  openNight,
  type TriagedNight,
  tableOf,
  triageNight,
  writeLists,
} from "../../src/index.js";
import { mimeBundle } from "../../src/kernel/show/mime-bundle.js";
import { runNotebook } from "../../src/notebook/run-notebook.js";
import { writeNotebook } from "../../src/notebook/write-notebook.js";
import { Session } from "../standards/jupyter-session.js";
import { code, notebookOf } from "./notebook-kernels.js";

const root = fileURLToPath(new URL("../../", import.meta.url));
const folder = mkdtempSync(join(tmpdir(), "nightyield-library-"));
const [subs, out] = [join(folder, "subs"), join(folder, "nightyield-out", "march14")];
afterAll(() => rmSync(folder, { recursive: true, force: true }));

let measured: TriagedNight;
/** Every second sub of the first sample night: cloud among them, and the file that was cut short. */
beforeAll(async () => {
  mkdirSync(subs);
  const night = join(root, "sample-data/nights/2025-10-18");
  readdirSync(night)
    .filter((_, i) => i % 2 === 1)
    .forEach((name) => {
      cpSync(join(night, name), join(subs, name));
    });
  measured = await triageNight([subs]);
  writeLists(out, { table: measured.table, paths: measured.paths, folders: [subs] });
}, 60_000);

// Values made up; medians, means and sums worked out by hand.
const frames = framesOf(
  fromRows([
    { file: "a", kind: "light", filter: "L", exposureS: 30, fwhmPx: 2, altitudeDeg: 50, verdict: "keep" },
    { file: "b", kind: "light", filter: "Ha", exposureS: 60, fwhmPx: 4, altitudeDeg: 41, verdict: "drop" },
    {
      file: "c",
      kind: "light",
      filter: "L",
      exposureS: 30,
      fwhmPx: Number.NaN,
      altitudeDeg: 30,
      verdict: "borderline",
    },
    { file: "d", kind: "light", filter: "L", exposureS: 30, fwhmPx: 3, altitudeDeg: 60, verdict: "keep" },
    { file: "e", kind: "light", filter: "L", exposureS: 30, fwhmPx: 7, altitudeDeg: 70, verdict: "drop" },
  ]),
);
const filesOf = (list: library.Frames) => list.column("file").join("");

describe("frames", () => {
  it("are filtered, sorted and counted; what was not measured does not count", () => {
    expect(filesOf(frames.filter((f) => f.altitudeDeg > 40))).toBe("abde");
    expect(filesOf(frames.kept())).toBe("acd");
    expect(filesOf(frames.sortBy("fwhmPx"))).toBe("adbec");
    expect(filesOf(frames.sortBy("fwhmPx", "down"))).toBe("ebdac");
    expect(filesOf(frames.sortBy((f) => f.filter).head(2))).toBe("ba");
    expect([frames.median("fwhmPx"), frames.mean("fwhmPx"), frames.sum("fwhmPx")]).toEqual([3.5, 4, 16]);
    expect([frames.quantile("fwhmPx", 0), frames.quantile("fwhmPx", 1)]).toEqual([2, 7]);
    expect(frames.filter(() => false).median("fwhmPx")).toBeNaN();
    expect(frames.rows()[1]).toMatchObject({ file: "b", fwhmPx: 4, starCount: Number.NaN, target: "" });
    expect([frames.length, [...frames].length, filesOf(frames)]).toEqual([5, 5, "abcde"]);
  });

  it("are grouped by columns and by what you like; groups come in the order of their keys", () => {
    expect(frames.groupBy("filter").median("fwhmPx", "altitudeDeg").rows).toEqual([
      { filter: "Ha", frames: 1, fwhmPx: 4, altitudeDeg: 41 },
      { filter: "L", frames: 4, fwhmPx: 3, altitudeDeg: 55 },
    ]);
    expect(frames.groupBy({ band: (f) => 20 * Math.floor(f.altitudeDeg / 20) }, "filter").count().rows).toEqual([
      { band: 20, filter: "L", frames: 1 },
      { band: 40, filter: "Ha", frames: 1 },
      { band: 40, filter: "L", frames: 1 },
      { band: 60, filter: "L", frames: 2 },
    ]);
    const seconds = frames.groupBy("verdict").summarise({ s: (g) => g.sum("exposureS") });
    expect(seconds.sortBy("s", "down").column("s")).toEqual([90, 60, 30]);
    expect([...frames.groupBy("fwhmPx")].map(({ frames: g }) => filesOf(g))).toEqual(["a", "d", "b", "e", "c"]);
  });

  it("a wrong name is told with those that there are", () => {
    const wrong = "fwhm" as "fwhmPx";
    for (const call of [
      () => frames.column(wrong),
      () => frames.median(wrong),
      () => frames.sortBy(wrong),
      () => frames.select(wrong),
      () => frames.groupBy(wrong),
    ])
      expect(call).toThrow(/^There is no column fwhm\. Columns: file, kind, .*fwhmPx/);
    expect(() => frames.median("filter" as "fwhmPx")).toThrow("holds texts, not numbers");
    expect(() => frames.groupBy()).toThrow(CallError);
    expect(() => frames.quantile("fwhmPx", 50)).toThrow("between 0 and 1");
    expect(() => framesOf({} as library.FrameTable)).toThrow("needs a night or a frame table");
  });

  it("become a DataFrame whose own means and groups agree", async () => {
    const chosen = await frames.filter((f) => f.fwhmPx > 0).toDataFrame("filter", "fwhmPx");
    expect([chosen.columns, chosen.shape]).toEqual([
      ["filter", "fwhmPx"],
      [4, 2],
    ]);
    expect(chosen.fwhmPx.mean()).toBe(4);
    const means = chosen.groupby(["filter"]).col(["fwhmPx"]).mean();
    expect(means.values).toEqual([
      ["L", 4],
      ["Ha", 4],
    ]);
    const all = await frames.toDataFrame();
    expect(all.columns).toEqual(["file", "kind", "filter", "exposureS", "fwhmPx", "altitudeDeg", "verdict"]);
    expect((all.values as unknown[][])[2]![4]).toBeNaN();
  });
});

describe("tables", () => {
  const table = tableOf(
    [
      { filter: "<L>", subs: 32, hours: 0.2667, sure: true },
      { filter: "Ha", subs: 8, hours: Number.NaN, sure: false },
    ],
    "One night",
  );
  it("are shown as HTML in a notebook, and printed as the same text", async () => {
    const text = "One night\nfilter  subs  hours  sure\n<L>       32  0.267  yes\nHa         8         no";
    const shown = await mimeBundle(table);
    expect(Object.keys(shown)).toEqual(["text/html", "text/plain"]);
    expect(shown["text/plain"]).toBe(text);
    expect(`${table}`).toBe(text);
    const html = String(shown["text/html"]);
    expect(html).toMatch(/<caption[^>]*>One night<\/caption>/);
    expect(html).toContain("&#60;L&#62;");
    expect([...html.matchAll(/<td/g)]).toHaveLength(8);
    // The decimals are those of the largest value of a column.
    expect(`${tableOf([{ a: 1234.5678 }, { a: 0.01 }])}`).toBe("   a\n1235\n   0");
    expect((await mimeBundle(frames))["text/html"]).toContain("fwhmPx");
    expect(`${frames}`).toMatch(/^5 frames\nfile {2}filter/);
  });
  it("sort with what is missing last, filter, and say when they are empty", () => {
    expect(table.sortBy("hours", "down").column("subs")).toEqual([32, 8]);
    expect(table.sortBy("hours").column("subs")).toEqual([32, 8]);
    expect(table.sortBy((row) => row.subs).column("filter")).toEqual(["Ha", "<L>"]);
    expect(table.filter((row) => row.subs > 10).length).toBe(1);
    expect(`${tableOf([], "None")} ${tableOf([])}`).toBe("None (no rows)");
    expect(() => tableOf([["L", 3]] as never)).toThrow("Row 0 of the table is no object");
  });
});

describe("openNight", () => {
  it("reads what triage has written, and tells the same story without measuring", async () => {
    const read = await openNight(out);
    expect(nightSummary(read)).toEqual(
      nightSummary(measured).filter((line) => !measured.notes.some((n) => line.includes(n.slice(1)))),
    );
    for (const name of ["file", "verdict", "symptoms", "cause"] as const)
      expect(read.table[name]).toEqual(measured.table[name]);
    expect(read.paths).toEqual(measured.paths);
    expect(read.attention).toEqual(measured.attention);
    expect(read.attention).toHaveLength(1);
    const codes = (night: library.TriagedNight) => night.symptomsOfRow.map((list) => list.map(({ code }) => code));
    expect(codes(read)).toEqual(codes(measured));
    expect(read.groups.map(({ count }) => count)).toEqual(measured.groups.map(({ count }) => count));
  }, 60_000);

  it("other limits grade anew; the user's decisions win over both", async () => {
    const night = await openNight(out);
    const limits = limitsFor("detail");
    const detail = await openNight(out, { limits });
    expect(detail.table.verdict).toEqual(gradeNight(night.table, { limits }).table.verdict);
    expect(detail.table.verdict).not.toEqual(night.table.verdict);
    const copy = join(folder, "marked");
    cpSync(out, copy, { recursive: true });
    const row = night.table.verdict.indexOf("keep");
    markSubs(copy, [night.table.file[row]!], {
      as: "drop",
      because: "neighbour's light",
      atUtc: "2025-10-19T00:00:00Z",
    });
    for (const request of [{}, { limits }]) {
      const marked = await openNight(copy, request);
      expect(marked.table.verdict[row]).toBe("drop");
      expect(marked.table.note[row]).toContain("neighbour's light");
    }
  });

  it("puts several results together, and refuses what it cannot mix", async () => {
    const one = await openNight(out);
    const both = await openNight([out, out]);
    expect([both.table.rows, both.folders]).toEqual([2 * one.table.rows, ["subs", "subs"]]);
    expect(both.symptomsOfRow).toHaveLength(both.table.rows);
    await expect(openNight([out, subs])).rejects.toThrow("is a result of nightyield triage and");
    await expect(openNight([])).rejects.toThrow(CallError);
    await expect(openNight(join(folder, "nowhere"))).rejects.toThrow(CallError);
  });
});

describe("in the kernel", () => {
  it("completion offers the verbs and methods, and each tells what it does and how it is called", async () => {
    const kernel = await (await Session.start({ cwd: folder })).ready();
    try {
      await kernel.run('import * as ny from "nightyield"; const frames = ny.framesOf(ny.fromRows([]));');
      const matches = async (code: string) =>
        (await kernel.ask("complete_request", { code, cursor_pos: code.length })).content.matches as string[];
      expect(await matches("ny.frames")).toContain("framesOf");
      expect(await matches("frames.")).toEqual(
        expect.arrayContaining(["filter", "groupBy", "kept", "sortBy", "toDataFrame"]),
      );
      const told = async (code: string) => {
        const request = { code, cursor_pos: code.length, detail_level: 0 };
        const { content } = await kernel.ask("inspect_request", request);
        return (content.data as Record<string, string>)["text/plain"] ?? "";
      };
      for (const verb of ["openNight", "framesOf", "tableOf", "depthReached", "causeRows"])
        expect(await told(`ny.${verb}`), verb).toMatch(new RegExp(`\\b${verb}\\b[^]*@example[^]*import \\{`));
      expect(await told("frames.groupBy")).toContain("Subs that have something in common.");
      expect(await told("frames.toDataFrame")).toContain("danfojs");
    } finally {
      await kernel.stop();
    }
  }, 60_000);
});

describe("examples in the documentation", () => {
  const verbs = ["exportNotebook", "framesOf", "makeBundle", "openNight", "runNotebook", "tableOf", "triageSimulated"];
  // As it is delivered: declarations with their documentation, many times quicker to read than the code.
  const declarations = join(root, "dist/index.d.ts");
  const exported = exportsOf(declarations);
  const examples = examplesOf(exported);
  it("every function of the library has one, and every name says what it is", () => {
    const named = new Set(examples.map(({ name }) => name));
    const functions = Object.entries(library).filter(([, value]) => typeof value === "function");
    // Classes are shown where they are made: Frames by framesOf, Table by tableOf, errors by those who throw them.
    const isClass = (value: unknown) => /^class\b/.test(String(value));
    expect(functions.filter(([name, value]) => !isClass(value) && !named.has(name)).map(([name]) => name)).toEqual([]);
    expect(undocumentedIn(exported)).toEqual([]);
  });

  it("each compiles by itself, strictly", () => {
    const place = join(root, "tests", "end-to-end");
    const texts = new Map(examples.map(({ name, text }) => [join(place, `example-${name}.ts`), text]));
    const options = { ...strict(), paths: { nightyield: [declarations] } };
    const host = ts.createCompilerHost(options);
    const read = host.getSourceFile.bind(host);
    host.getSourceFile = (file, version, ...rest) => {
      const text = texts.get(file);
      return text === undefined
        ? read(file, version, ...rest)
        : ts.createSourceFile(file, `${text}\nexport {};`, version);
    };
    const exists = host.fileExists.bind(host);
    host.fileExists = (file) => texts.has(file) || exists(file);
    const program = ts.createProgram([...texts.keys()], options, host);
    const problems = [...texts.keys()].flatMap((file) => {
      const source = program.getSourceFile(file)!;
      return [...program.getSyntacticDiagnostics(source), ...program.getSemanticDiagnostics(source)].map(
        ({ messageText }) => `${file}: ${ts.flattenDiagnosticMessageText(messageText, "\n")}`,
      );
    });
    expect(problems).toEqual([]);
  }, 60_000);

  it("each runs in the kernel, in a folder with subs and a result of triage", async () => {
    writeFileSync(join(folder, "first.ipynb"), writeNotebook(notebookOf(code("a", "console.log(6 * 7)"))));
    const cells = examples.map(({ name, text }) => code(name, text));
    const { notebook, failed } = await runNotebook(notebookOf(...cells), { folder, now: () => new Date(), goOn: true });
    expect(failed).toEqual([]);
    const told = notebook.cells.filter((cell) => cell.cell_type === "code" && cell.outputs.length > 0);
    for (const verb of verbs) expect(told.map(({ id }) => id)).toContain(verb);
    console.log(`${examples.length} examples of ${Object.keys(library).length} public values were compiled and run`);
  }, 120_000);
});

function strict(): ts.CompilerOptions {
  const { config } = ts.readConfigFile(join(root, "tsconfig.json"), ts.sys.readFile);
  const { options } = ts.parseJsonConfigFileContent(config, ts.sys, root);
  return { ...options, noEmit: true, incremental: false, noUnusedLocals: false, composite: false, rootDir: root };
}

/** What examples may take for granted: each is about one function, not about where its table comes from. */
const given: Readonly<Record<string, string>> = {
  measured: 'const { table: measured } = await openResult("nightyield-out/march14");',
  table: 'const { table } = await openResult("nightyield-out/march14");',
  text: 'const text = asEcsv((await openResult("nightyield-out/march14")).table);',
  json: `const json = \`${JSON.stringify(scenarioOfTwo())}\`;`,
};

function scenarioOfTwo() {
  return {
    name: "two",
    site: { name: "garden", latitudeDeg: 48, longitudeDeg: 16 },
    telescope: { name: "small", apertureMm: 60, focalLengthMm: 380 },
    camera: { name: "small", width: 160, height: 120, pixelSizeUm: 3.9 },
    filters: { L: { kind: "broadband", widthNm: 240 } },
    targets: { field: { raDeg: 303, decDeg: 38, glow: { kind: "none" } } },
    nights: [
      {
        name: "one",
        startUtc: "2025-10-18T20:00:00Z",
        blocks: [{ target: "field", filter: "L", exposureS: 30, frames: 2 }],
      },
    ],
  };
}

interface Exports {
  readonly checker: ts.TypeChecker;
  readonly symbols: readonly ts.Symbol[];
}

/** What a module exports, as the compiler sees it. */
function exportsOf(index: string): Exports {
  const program = ts.createProgram([index], strict());
  const checker = program.getTypeChecker();
  const symbols = checker.getExportsOfModule(checker.getSymbolAtLocation(program.getSourceFile(index)!)!);
  return { checker, symbols };
}

/** The first `ts` block behind `@example` of every exported function that has one, with what it takes for granted. */
function examplesOf({ checker, symbols }: Exports): { name: string; text: string }[] {
  return symbols.flatMap((symbol) => {
    const actual = symbol.flags & ts.SymbolFlags.Alias ? checker.getAliasedSymbol(symbol) : symbol;
    const tag = actual.getJsDocTags(checker).find(({ name }) => name === "example");
    const [, text] = /```ts\n([\s\S]*?)```/.exec(ts.displayPartsToString(tag?.text)) ?? [];
    return text === undefined ? [] : [{ name: symbol.name, text: withGiven(text) }];
  });
}

/** Exported values without a word about them: completion would show nothing. */
function undocumentedIn({ checker, symbols }: Exports): string[] {
  return symbols
    .map((symbol) => (symbol.flags & ts.SymbolFlags.Alias ? checker.getAliasedSymbol(symbol) : symbol))
    .filter((symbol) => symbol.flags & ts.SymbolFlags.Value && symbol.getDocumentationComment(checker).length === 0)
    .map(({ name }) => name);
}

function withGiven(text: string): string {
  const lacks = Object.keys(given).filter(
    (name) =>
      new RegExp(`(?<![.\\w])${name}\\b(?!:)`).test(text) &&
      !new RegExp(`(?:const|let) (?:${name}\\b|\\{[^}]*\\b${name}\\b)`).test(text),
  );
  const lines = lacks.map((name) => given[name]);
  return lacks.length === 0
    ? text
    : `import { openNight as openResult, writeEcsv as asEcsv } from "nightyield";\n${lines.join("\n")}\n${text}`;
}
