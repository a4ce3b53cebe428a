// Imports point one way (DEVELOPERS.md, "The house"). This reads the import lines and holds them to that order.
import { readdirSync, readFileSync } from "node:fs";
import { dirname, join, relative, sep } from "node:path";
import { fileURLToPath } from "node:url";
import { describe, expect, it } from "vitest";

const src = fileURLToPath(new URL("../../src/", import.meta.url));
/** What each folder (or file of src/) may import besides itself. */
const below: Record<string, readonly string[]> = {
  terms: [],
  numbers: ["terms"],
  read: ["terms", "numbers"],
  sky: ["terms", "numbers"],
  measure: ["terms", "numbers", "read", "sky"],
  grade: ["terms", "numbers", "read", "sky", "measure"],
  explain: ["terms", "numbers", "read", "sky", "measure", "grade"],
  plan: ["terms", "numbers", "read", "sky", "measure", "grade", "explain"],
  act: ["terms", "numbers", "read", "sky", "measure", "grade", "explain", "plan"],
  show: ["terms", "numbers", "read", "sky", "measure", "grade", "explain", "plan"],
  simulate: ["terms", "numbers", "read", "sky"],
  "night.ts": ["terms", "numbers", "read", "sky", "measure", "grade", "explain", "plan", "act", "show"],
};
below.library = ["night.ts", ...below["night.ts"]!];
below["index.ts"] = ["simulate", "night.ts", "library", "notebook", ...below["night.ts"]!];
below.notebook = ["night.ts", "library", "simulate", ...below["night.ts"]!];
below.kernel = ["notebook", ...below.notebook!];
below.workbook = ["notebook", ...below.notebook!];
below.cli = ["simulate", "kernel", "workbook", "index.ts", ...below.kernel!];

const files = readdirSync(src, { recursive: true, encoding: "utf8" }).filter((file) => file.endsWith(".ts"));
const partOf = (path: string) => path.split(sep)[0]!;
const code = (file: string) => readFileSync(join(src, file), "utf8");
const importsOf = (text: string) =>
  [...text.matchAll(/(?:from|import\()\s*"([^"]+)"|^import "([^"]+)"/gm)].map((m) => m[1] ?? m[2]!);

describe("layers", () => {
  it("each file imports only what lies below it", () => {
    const wrong: string[] = [];
    for (const file of files)
      for (const name of importsOf(code(file))) {
        if (!name.startsWith(".")) continue;
        const target = partOf(relative(src, join(src, dirname(file), name)).replace(/\.js$/, ".ts"));
        if (target !== partOf(file) && !below[partOf(file)]?.includes(target)) wrong.push(`${file} imports ${name}`);
      }
    expect(files.length).toBeGreaterThan(20);
    expect(wrong).toEqual([]);
  });

  it("no file imports itself through others", () => {
    const edges = new Map(
      files.map((file) => [
        file,
        importsOf(code(file).replace(/^import type .*$/gm, ""))
          .filter((name) => name.startsWith("."))
          .map((name) => relative(src, join(src, dirname(file), name)).replace(/\.js$/, ".ts")),
      ]),
    );
    const done = new Set<string>();
    const visit = (file: string, path: readonly string[]): void => {
      if (path.includes(file)) throw new Error(`circle: ${[...path, file].join(" -> ")}`);
      if (done.has(file)) return;
      for (const next of edges.get(file) ?? []) visit(next, [...path, file]);
      done.add(file);
    };
    for (const file of files) visit(file, []);
  });

  it("below the edge nothing prints, exits, or reads the clock or the environment", () => {
    const edge = ["cli", "kernel", "workbook"];
    const forbidden =
      /\bconsole\.|\bprocess\.(?:exit|env|argv|stdout|stderr)|\bDate\.now\(|\bnew Date\(\)|\bperformance\.now\(|\bMath\.random\(/;
    const comments = /\/\*[\s\S]*?\*\/|\/\/.*$/gm;
    const wrong = files.filter(
      (file) => !edge.includes(partOf(file)) && forbidden.test(code(file).replace(comments, "")),
    );
    expect(wrong).toEqual([]);
  });

  it("only these files touch the disk", () => {
    const touches = files.filter(
      (file) =>
        /from "(?:node:)?fs(?:\/promises)?"/.test(code(file)) &&
        !["act", "notebook", "cli", "kernel"].includes(partOf(file)),
    );
    for (const file of touches)
      expect(
        [
          "measure/store.ts",
          "read/file-bytes.ts",
          "read/folders.ts",
          "read/write-whole.ts",
          "show/plotly-script.ts",
        ].map((f) => f.replace("/", sep)),
      ).toContain(file);
  });
});
