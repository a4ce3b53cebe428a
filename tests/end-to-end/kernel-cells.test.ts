// What cells can do, through the real kernel. Expected values follow from the language, not from the kernel.
import { mkdirSync, mkdtempSync, rmSync, utimesSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { Session } from "../standards/jupyter-session.js";

let kernel: Session;
let folder: string;
const put = (path: string, text: string) => {
  mkdirSync(join(folder, path, ".."), { recursive: true });
  writeFileSync(join(folder, path), text);
};
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), "nightyield-cells-"));
  put(
    "site.ts",
    "import { half } from './lib/half.js';\nexport interface Site { latitudeDeg: number }\nexport const site: Site = { latitudeDeg: half(100) };\nexport function fail(): never {\n  throw new Error('in a file');\n}\n",
  );
  put("lib/half.ts", "export const half = (x: number) => x / 2;\n");
  put("wrong.ts", "export const a: number = 'text';\n");
  put("broken.ts", "export const a = ;\n");
  put("plain.mjs", "export const plain = 7;\n");
  put("facts.json", '{ "subs": 12 }');
  put("circle-a.ts", "import { b } from './circle-b.js';\nexport const a = () => b() + 1;\n");
  put("circle-b.ts", "import { a } from './circle-a.js';\nexport const b = () => (a === undefined ? -1 : 41);\n");
  put(
    "node_modules/esm-only/package.json",
    '{ "name": "esm-only", "type": "module", "exports": { ".": { "import": "./main.js", "types": "./main.d.ts" }, "./deep": "./inner/deep.js" } }',
  );
  put(
    "node_modules/esm-only/main.js",
    "export default 'default';\nexport const named = 'named';\nexport let live = 1;\nexport const bump = () => ++live;\n",
  );
  put(
    "node_modules/esm-only/main.d.ts",
    "declare const x: string;\nexport default x;\nexport declare const named: string;\nexport declare let live: number;\nexport declare function bump(): number;\n",
  );
  put("node_modules/esm-only/inner/deep.js", "export const deep = 'deep';\n");
  put("node_modules/cjs/package.json", '{ "name": "cjs", "main": "main.js" }');
  put("node_modules/cjs/main.js", "const names = ['one', 'two'];\nfor (const name of names) exports[name] = name;\n");
  kernel = await (await Session.start({ cwd: folder })).ready();
}, 60_000);
afterAll(async () => {
  await kernel.stop();
  rmSync(folder, { recursive: true, force: true });
});
const cells = async (...codes: string[]) => {
  let last = "";
  for (const code of codes) last = await kernel.text(code);
  return last;
};

describe("names live on", () => {
  it.each([
    ["a result", ["6 * 7"], "42"],
    ["a text", ["'night'"], "'night'"],
    ["no result", ["const quiet = 1"], ""],
    [
      "a variable, assigned from another cell, seen by its own function",
      ["let n = 1; function next() { n++; return n; }", "n = 10", "next()"],
      "11",
    ],
    ["operators on such a variable", ["let m = 5", "m++; m *= 2; [m] = [m + 1]; m"], "13"],
    ["redefined with another type", ["const v = 1", "const v = 'one'", "v.toUpperCase()"], "'ONE'"],
    [
      "a mended function is used by its callers",
      [
        "function inner() { return 1; } ",
        "function outer() { return inner(); }",
        "function inner() { return 2; }",
        "outer()",
      ],
      "2",
    ],
    [
      "types, interfaces, classes, enums",
      [
        "interface Sub { s: number } type Subs = Sub[]; class Night { subs: Subs = []; } enum Verdict { Keep = 'keep' }",
        "const night = new Night(); night.subs.push({ s: 10 }); [night.subs[0]!.s, Verdict.Keep, night instanceof Night]",
      ],
      "[ 10, 'keep', true ]",
    ],
    [
      "destructured, with defaults",
      ["const { a1, ...rest1 } = { a1: 1, b1: 2 }; const [c1 = 3] = [] as number[]", "[a1, rest1.b1, c1]"],
      "[ 1, 2, 3 ]",
    ],
    [
      "imports",
      [
        "import { basename } from 'node:path'; import fs from 'node:fs'; import * as os from 'node:os'",
        "[basename('/a/b'), typeof fs.readFileSync, typeof os.cpus]",
      ],
      "[ 'b', 'function', 'function' ]",
    ],
    ["exported ones", ["export const e1 = 1; export let e2 = 2", "e2 = 5; e1 + e2"], "6"],
    ["an empty list takes what is put in", ["const list = []; list.push(1); list", "list.push('x')"], "2"],
    ["a generic function", ["const first = <T,>(xs: T[]): T | undefined => xs[0]", "first(['a'])?.length"], "1"],
  ])("%s", async (_, codes, shown) => {
    expect(await cells(...codes)).toBe(shown);
  });

  it("what came before an error stays, what came after does not exist", async () => {
    expect(await cells("let before = 1; const gone = 1")).toBe("");
    expect(await cells("let early = 2;\nthrow new Error('stop');\nlet late = 3")).toBe("Error: stop");
    expect(await cells("early + before + gone")).toBe("4");
    expect(await cells("late")).toMatch(/^TypeScriptError: Cannot find name 'late'/);
  });
});

describe("await stands anywhere at the top", () => {
  it.each([
    ["await (1 + 1)", "2"],
    ["const w = await Promise.all([1, Promise.resolve(2)]); w", "[ 1, 2 ]"],
    ["let sum = 0; for await (const x of [1, Promise.resolve(2)]) sum += x; sum", "3"],
    [`\`\${await Promise.resolve("in a template")}\``, "'in a template'"],
    ["[await 1, { k: await 2 }]", "[ 1, { k: 2 } ]"],
    [
      "if (await true) { await new Promise((r) => setTimeout(r, 5)); }\n(await import('node:path')).basename('x/y')",
      "'y'",
    ],
    ["class Late { static x = 1; y = 2 } (await Promise.resolve(new Late())).y", "2"],
    ["{ using r = { [Symbol.dispose]() { console.log('closed'); } }; }", "closed\n"],
  ])("%s", async (code, shown) => {
    expect(await kernel.text(code)).toBe(shown);
  });
});

describe("imports", () => {
  it.each([
    ["a TypeScript file and what it needs", "import { site, type Site } from './site.js'; site.latitudeDeg", "50"],
    ["with its ending .ts", "import { half } from './lib/half.ts'; half(9)", "4.5"],
    ["JavaScript", "import { plain } from './plain.mjs'; plain", "7"],
    ["JSON", "import facts from './facts.json'; facts.subs", "12"],
    ["files in a circle", "import { a } from './circle-a.js'; a()", "42"],
    [
      "a package with only an import condition, live names",
      "import d, { named, live, bump } from 'esm-only'; bump(); [d, named, live]",
      "[ 'default', 'named', 2 ]",
    ],
    ["a path in exports", "import { deep } from 'esm-only/deep'; deep", "'deep'"],
    [
      "CommonJS whose names cannot be read from its text",
      "import { two } from 'cjs'; import all from 'cjs'; [two, all.one]",
      "[ 'two', 'one' ]",
    ],
    ["import()", "(await import('esm-only')).named + (await import('./lib/half.js')).half(2)", "'named1'"],
    ["require", "require('node:path').basename('a/b')", "'b'"],
    ["import.meta", "import.meta.dirname.length > 1 && import.meta.url.startsWith('file:')", "true"],
    ["the library by name, from anywhere", "import { frameTable } from 'nightyield'; frameTable(2).rows", "2"],
    ["a package the library brings", "import { mean } from 'simple-statistics'; mean([1, 2, 6])", "3"],
  ])("%s", async (_, code, shown) => {
    expect(await kernel.text(code)).toBe(shown);
  });

  it("a changed file is taken anew, also when it is imported by another", async () => {
    put("lib/half.ts", "export const half = (x: number) => x / 4;\n");
    utimesSync(join(folder, "lib/half.ts"), new Date(), new Date(Date.now() + 5000));
    expect(await kernel.text("import { site } from './site.js'; site.latitudeDeg")).toBe("25");
  });

  it("says what is wrong with an imported file, and where", async () => {
    expect(await kernel.text("import { a } from './wrong.js'; a")).toMatch(
      /^TypeScriptError: Type 'string' is not assignable to type 'number'/,
    );
    expect(await kernel.text("import { a } from './broken.js'; a")).toMatch(/^TypeScriptError: Expression expected/);
    expect(await kernel.text("import { x } from 'not-there'; x")).toMatch(
      /^TypeScriptError: Cannot find module 'not-there'/,
    );
    const { content } = await kernel.run("import { fail } from './site.js'; fail()");
    expect((content.traceback as string[]).join("\n")).toMatch(/site\.ts:5:9/);
  });
});

describe("type errors", () => {
  it("are errors of the cell with line and column, and nothing runs", async () => {
    const { content, iopub } = await kernel.run("console.log('must not run');\nconst width: number =\n  'wide';");
    expect(content).toMatchObject({ status: "error", ename: "TypeScriptError" });
    expect(content.evalue).toBe("Type 'string' is not assignable to type 'number'. (line 2, column 7)");
    expect((content.traceback as string[])[0]).toContain(`Cell [${content.execution_count}]:2:7 - error TS2322`);
    expect(iopub.some((m) => m.type === "stream")).toBe(false);
  });

  it.each([
    ["const fixed = 1", "fixed = 2", "Cannot assign to 'fixed'"],
    ["let typed = 1", "typed = 'x'", "Type 'string' is not assignable to type 'number'"],
    ["function takes(x: number) { return x; }", "takes('x')", "Argument of type 'string'"],
    ["1", "({ a: 1 }).b", "Property 'b' does not exist"],
    ["1", "const open = {", "expected"],
  ])("%s; %s", async (first, second, says) => {
    await kernel.text(first);
    expect(await kernel.text(second)).toContain(says);
  });
});

describe("values show themselves", () => {
  const data = async (code: string) => {
    const { iopub, content } = await kernel.run(code);
    expect(content.status, String(content.evalue)).toBe("ok");
    return iopub.find((m) => m.type === "execute_result")!.content.data as Record<string, string>;
  };

  it("a frame table as a table that sorts, and as text", async () => {
    const bundle = await data(
      "import { fromRows } from 'nightyield'; fromRows([{ file: 'a<b>.fits', fwhmPx: 3.256, verdict: 'keep' }, { file: 'b.fits', starCount: 120, verdict: 'drop' }])",
    );
    expect(bundle["text/plain"]).toMatch(/^Frame table: 2 rows\nfile +starCount +fwhmPx +verdict/);
    expect(bundle["text/plain"]).toMatch(/a<b>\.fits +3\.26 +keep/);
    expect(bundle["text/html"]).toContain("a&#60;b&#62;.fits");
    expect(bundle["text/html"]).not.toContain("a<b>");
    expect(bundle["text/html"]).not.toContain("moonAltitudeDeg");
  });

  it("a chart as plotly's JSON, a picture and words", async () => {
    const bundle = await data(
      "({ data: [{ type: 'scatter', name: 'width', x: Float64Array.of(1, 2), y: [3, 5] }], layout: { title: 'Night' } })",
    );
    expect(bundle["application/vnd.plotly.v1+json"]).toMatchObject({
      data: [{ x: [1, 2], y: [3, 5] }],
      layout: { title: "Night" },
    });
    expect(bundle["text/html"]).toMatch(/<svg[\s\S]*<polyline[\s\S]*<\/svg>/);
    expect(bundle["text/plain"]).toBe("Chart: Night\n  width: 2 points, 3 to 5");
  });

  it("pictures, lists of records, errors, maps, long arrays", async () => {
    const png = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==";
    expect((await data(`Buffer.from('${png}', 'base64')`))["image/png"]).toBe(png);
    expect((await data("[{ filter: 'Ha', subs: 3 }, { filter: 'OIII', subs: 4.123456 }]"))["text/html"]).toMatch(
      /<td[^>]*>Ha<\/td><td[^>]*>3<\/td>[\s\S]*4\.12</,
    );
    expect((await data("new Map([['a', 1]])"))["text/plain"]).toBe("Map(1) { 'a' => 1 }");
    expect((await data("new Float64Array(1e6)"))["text/plain"]!.length).toBeLessThan(300);
    expect((await data("new RangeError('as a value')"))["text/plain"]).toContain("RangeError: as a value");
  });

  it("an object's own display, also one that takes its time; bytes travel as base-64", async () => {
    expect(
      await data("({ [Symbol.for('Jupyter.display')]() { return { 'text/html': '<b>own</b>' } } })"),
    ).toMatchObject({ "text/html": "<b>own</b>", "text/plain": expect.any(String) });
    expect(
      await data(
        "({ async [Symbol.for('Jupyter.display')]() { return { 'image/png': Uint8Array.of(1, 2), 'text/plain': 'late' } } })",
      ),
    ).toEqual({ "image/png": "AQI=", "text/plain": "late" });
  });

  it("a DataFrame as a table", async () => {
    const bundle = await data(
      "import { DataFrame } from 'danfojs-node'; new DataFrame([[1, 'a'], [2, 'b']], { columns: ['n', 'name'] })",
    );
    expect(bundle["text/html"]).toMatch(/<th[^>]*>name<\/th>[\s\S]*<td[^>]*>b<\/td>/);
  }, 30_000);

  it("progress goes through a list and ends full", async () => {
    const { iopub } = await kernel.run(
      "let total = 0; for (const x of progress([1, 2, 3], 'adding')) total += x; console.log(total)",
    );
    const shown = iopub.filter((m) => m.type.endsWith("display_data"));
    expect(shown[0]!.type).toBe("display_data");
    expect((shown.at(-1)!.content.data as Record<string, string>)["text/plain"]).toMatch(/^adding: 3 of 3, .* in all$/);
  });
});
