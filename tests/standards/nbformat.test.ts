// Notebooks against nbformat 4.5. The judge is the format's own library with its official schema (Debian's
// python3-nbformat): it validates what we write, writes the same notebook itself, and says which broken ones are broken.
import { spawnSync } from "node:child_process";
import { describe, expect, it } from "vitest";
import { checkNotebook } from "../../src/notebook/check-notebook.js";
import type { Notebook } from "../../src/notebook/notebook-shape.js";
import { parseNotebook } from "../../src/notebook/parse-notebook.js";
import { writeNotebook } from "../../src/notebook/write-notebook.js";
import { hasPython, python, withoutPython } from "../reference/python.js";

const has = hasPython("nbformat");

/** Gives each text to a Python expression on `text` and returns what it made of them. */
function inPython<T>(expression: string, texts: readonly string[]): T[] {
  const program = `
import json, sys, nbformat, nbformat.validator, warnings
warnings.simplefilter("ignore")
def valid(text):
    # validate() first mends what it can, such as a missing id; this is the schema alone
    return not list(nbformat.validator.iter_validate(json.loads(text), version=4, version_minor=5))
def rewritten(text):
    return nbformat.writes(nbformat.reads(text, as_version=4)) + "\\n"
print(json.dumps([${expression} for text in json.load(sys.stdin)]))`;
  const ended = spawnSync(python, ["-c", program], { input: JSON.stringify(texts), encoding: "utf8" });
  if (ended.status !== 0) throw new Error(ended.stderr);
  return JSON.parse(ended.stdout) as T[];
}

const everyKind: Notebook = {
  nbformat: 4,
  nbformat_minor: 5,
  metadata: {
    kernelspec: { name: "nightyield", display_name: "TypeScript", language: "typescript" },
    language_info: { name: "typescript", file_extension: ".ts", codemirror_mode: { name: "javascript" } },
    zebra: { nested: [1, { b: [], a: {} }], text: "Grüße, \u2028 and \u007f" },
  },
  cells: [
    {
      cell_type: "markdown",
      id: "a-1",
      metadata: {},
      source: "# Night\r\nfirst\n\nlast \u2028line\u0085end\n",
      attachments: { "dot.png": { "image/png": "iVBORw0KGgo=" } },
    },
    { cell_type: "raw", id: "b_2", metadata: { format: "text/plain" }, source: "" },
    {
      cell_type: "code",
      id: "c3",
      metadata: { tags: ["parameters"], scrolled: "auto", collapsed: false, name: "first" },
      source: "const limit = 3;\nlimit",
      execution_count: 7,
      outputs: [
        { output_type: "stream", name: "stdout", text: "one\ntwo\x1b[31m\n" },
        {
          output_type: "execute_result",
          execution_count: 7,
          metadata: { isolated: true },
          data: { "text/plain": "3\n", "text/html": "<b>3</b>", "image/svg+xml": "<svg>\n</svg>" },
        },
        {
          output_type: "display_data",
          metadata: {},
          data: { "application/vnd.plotly.v1+json": { data: [{ y: [1.5, null] }] }, "image/png": "iVBO\nRw0K" },
        },
        { output_type: "error", ename: "Error", evalue: "boom", traceback: ["at 1", "at 2\n"] },
      ],
    },
    { cell_type: "code", id: "d".repeat(64), metadata: {}, source: "", execution_count: null, outputs: [] },
  ],
};
const text = writeNotebook(everyKind);

describe("writing and reading", () => {
  it("gives back what was written", () => {
    expect(parseNotebook(text, "n.ipynb")).toEqual(everyKind);
    expect(writeNotebook(parseNotebook(text, "n.ipynb"))).toBe(text);
    expect(text.endsWith("}\n")).toBe(true);
  });

  it.each([
    ["not json", "is no JSON"],
    ["[]", "no field nbformat"],
    ['{"nbformat": 3, "nbformat_minor": 0, "worksheets": []}', "nbformat 3"],
    [text.replace('"c3"', '"c 3"'), "cell 3 (id c 3): its id"],
    [text.replace('"error"', '"fault"'), 'output 4: output_type is "fault"'],
  ])("broken notebook %# is refused with file, place and remedy", (broken, says) => {
    expect(() => parseNotebook(broken, "n.ipynb")).toThrow(says);
    expect(() => parseNotebook(broken, "n.ipynb")).toThrow(/n\.ipynb .*\. |n\.ipynb: .*\. /);
  });
});

/** One way each to break a valid notebook; the official schema is asked whether it is one. */
type Loose = { [name: string]: Loose } & Loose[];
const breaks: Record<string, (notebook: Loose) => unknown> = {
  nothing: () => {},
  "no metadata": (n) => delete (n as Record<string, unknown>).metadata,
  "no cells": (n) => delete (n as Record<string, unknown>).cells,
  "nbformat as text": (n) => Object.assign(n, { nbformat: "4" }),
  "extra field": (n) => Object.assign(n, { worksheets: [] }),
  "extra metadata": (n) => Object.assign(n.metadata!, { anything: 1 }),
  "kernelspec without display name": (n) => Object.assign(n.metadata!, { kernelspec: { name: "x" } }),
  "language without name": (n) => Object.assign(n.metadata!, { language_info: {} }),
  "codemirror mode a number": (n) => Object.assign(n.metadata!.language_info!, { codemirror_mode: 3 }),
  "title a number": (n) => Object.assign(n.metadata!, { title: 3 }),
  "no id": (n) => delete (n.cells![0] as Record<string, unknown>).id,
  "long id": (n) => Object.assign(n.cells![0]!, { id: "x".repeat(65) }),
  "empty id": (n) => Object.assign(n.cells![0]!, { id: "" }),
  "id with a dot": (n) => Object.assign(n.cells![0]!, { id: "a.b" }),
  "unknown cell": (n) => Object.assign(n.cells![0]!, { cell_type: "heading" }),
  "outputs in text": (n) => Object.assign(n.cells![0]!, { outputs: [] }),
  "code without outputs": (n) => delete (n.cells![2] as Record<string, unknown>).outputs,
  "attachments in code": (n) => Object.assign(n.cells![2]!, { attachments: {} }),
  "attachment no bundle": (n) => Object.assign(n.cells![0]!, { attachments: { a: "x" } }),
  "source a number": (n) => Object.assign(n.cells![2]!, { source: 3 }),
  "source with a number": (n) => Object.assign(n.cells![2]!, { source: ["a", 3] }),
  "source one text": (n) => Object.assign(n.cells![2]!, { source: "a\nb" }),
  "negative count": (n) => Object.assign(n.cells![2]!, { execution_count: -1 }),
  "count one half": (n) => Object.assign(n.cells![2]!, { execution_count: 0.5 }),
  "tag with comma": (n) => Object.assign(n.cells![2]!.metadata!, { tags: ["a,b"] }),
  "tag twice": (n) => Object.assign(n.cells![2]!.metadata!, { tags: ["a", "a"] }),
  "empty tag": (n) => Object.assign(n.cells![2]!.metadata!, { tags: [""] }),
  "empty name": (n) => Object.assign(n.cells![2]!.metadata!, { name: "" }),
  "scrolled maybe": (n) => Object.assign(n.cells![2]!.metadata!, { scrolled: "maybe" }),
  "collapsed as text": (n) => Object.assign(n.cells![2]!.metadata!, { collapsed: "yes" }),
  "times as numbers": (n) => Object.assign(n.cells![2]!.metadata!, { execution: { start: 3 } }),
  "raw format a number": (n) => Object.assign(n.cells![1]!.metadata!, { format: 3 }),
  "stream without name": (n) => delete (n.cells![2]!.outputs![0] as Record<string, unknown>).name,
  "stream with metadata": (n) => Object.assign(n.cells![2]!.outputs![0]!, { metadata: {} }),
  "result without count": (n) => delete (n.cells![2]!.outputs![1] as Record<string, unknown>).execution_count,
  "text as object": (n) => Object.assign(n.cells![2]!.outputs![1]!.data!, { "text/plain": {} }),
  "json as text": (n) => Object.assign(n.cells![2]!.outputs![1]!.data!, { "application/json": "x" }),
  "json as number": (n) => Object.assign(n.cells![2]!.outputs![1]!.data!, { "application/geo+json": 3 }),
  "traceback one text": (n) => Object.assign(n.cells![2]!.outputs![3]!, { traceback: "x" }),
  "error without value": (n) => delete (n.cells![2]!.outputs![3] as Record<string, unknown>).evalue,
  "unknown output": (n) => Object.assign(n.cells![2]!.outputs![3]!, { output_type: "pyout" }),
};

describe.skipIf(!has)(`the official library${has ? "" : ` (${withoutPython("nbformat")})`}`, () => {
  it("accepts what we write, and writes the same bytes", () => {
    expect(inPython<boolean>("valid(text)", [text])).toEqual([true]);
    expect(inPython<string>("rewritten(text)", [text])).toEqual([text]);
  });

  it("and we agree on each of the broken notebooks", () => {
    const made = Object.entries(breaks).map(([name, change]) => {
      const notebook = JSON.parse(text) as Loose;
      change(notebook);
      return { name, text: JSON.stringify(notebook) };
    });
    const official = inPython<boolean>(
      "valid(text)",
      made.map((each) => each.text),
    );
    const ours = made.map((each) => checkNotebook(JSON.parse(each.text)).length === 0);
    expect(made.map(({ name }, i) => [name, ours[i]])).toEqual(made.map(({ name }, i) => [name, official[i]]));
    const refused = official.filter((valid) => !valid).length;
    console.log(`${made.length} notebooks judged alike, ${refused} of them refused`);
    expect(refused).toBeGreaterThan(25);
  });

  it("and we refuse a cell id or name that stands twice, which the schema only says in words", () => {
    const notebook = JSON.parse(text) as Loose;
    Object.assign(notebook.cells![1]!, { id: "a-1" });
    expect(checkNotebook(notebook)).toEqual([{ place: "cell 2 (id a-1)", problem: "has the id 'a-1' of cell 1" }]);
  });

  it("validates a notebook of nbformat 4.4 that we lifted", () => {
    const old = JSON.parse(text) as Loose;
    Object.assign(old, { nbformat_minor: 4 });
    for (const cell of old.cells!) delete (cell as Record<string, unknown>).id;
    const lifted = writeNotebook(parseNotebook(JSON.stringify(old), "old.ipynb"));
    expect(inPython<boolean>("valid(text)", [lifted])).toEqual([true]);
    expect(parseNotebook(lifted, "new.ipynb").cells.map(({ id }) => id)).toEqual([
      "cell-1",
      "cell-2",
      "cell-3",
      "cell-4",
    ]);
  });
});
