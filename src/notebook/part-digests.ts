import { createHash } from "node:crypto";
import { readEcsv } from "../terms/ecsv.js";
import { columnNames, type FrameTable } from "../terms/frame-table.js";
import { manifestName } from "./bundle-manifest.js";
import type { Compared } from "./compare-json.js";
import type { Difference } from "./compare-tables.js";
import { isObject, type Json, type Notebook } from "./notebook-shape.js";
import { parseNotebook } from "./parse-notebook.js";
import type { ZipEntry } from "./zip.js";

/**
 * What the parts of a bundle's files were when it was made, so that a changed number can be found and not only a changed
 * file: a digest of each row and each column of the frame table, whose crossing is a cell; of each part of a JSON file, two
 * levels deep; of the text and the outputs of each notebook cell.
 */
export interface PartDigests {
  readonly rows: readonly string[];
  readonly columns: { readonly [column: string]: string };
  readonly json: { readonly [file: string]: { readonly [part: string]: string } };
  readonly cells: { readonly [notebook: string]: { readonly [id: string]: CellDigests } };
}

interface CellDigests {
  readonly source: string;
  /** One for each output. */
  readonly outputs: readonly string[];
}

/** Of the files that go into a bundle, or are in one. A file that cannot be read has no parts. */
export function digestParts(entries: readonly ZipEntry[]): PartDigests {
  const read = <T>(name: RegExp, parse: (text: string, name: string) => T) =>
    entries.flatMap((entry): [string, T][] => {
      if (!name.test(entry.name) || entry.name === manifestName) return [];
      try {
        return [[entry.name, parse(Buffer.from(entry.bytes).toString("utf8"), entry.name)]];
      } catch {
        return []; // its hash tells
      }
    });
  const [, table] = read(/^frames\.ecsv$/, readEcsv)[0] ?? [];
  const rowOf = (row: number) => columnNames.map((name) => String(table![name][row]));
  return {
    rows: Array.from({ length: table?.rows ?? 0 }, (_, row) => digest(rowOf(row))),
    columns:
      table === undefined
        ? {}
        : Object.fromEntries(columnNames.map((name) => [name, digest(Array.from<unknown>(table[name]).map(String))])),
    json: Object.fromEntries(
      read(/\.json$/, (text) => partsOf(JSON.parse(text) as Json)).map(([name, parts]) => [
        name,
        Object.fromEntries(parts.map(([part, inside]) => [part, digest(inside)])),
      ]),
    ),
    cells: Object.fromEntries(read(/\.ipynb$/, (text, name) => cellsOf(parseNotebook(text, name)))),
  };
}

/** Twelve hexadecimal digits: enough to tell a slip or a correction, which is what they are for. */
const digest = (value: unknown): string =>
  createHash("sha256").update(JSON.stringify(value)).digest("hex").slice(0, 12);

/** `story[3]`, `limits.burden`: what is two levels deep, or less where nothing is deeper. */
function partsOf(value: Json): [part: string, inside: Json][] {
  return childrenOf("", value).flatMap(([part, inside]) => childrenOf(part, inside));
}

function childrenOf(part: string, value: Json): [string, Json][] {
  if (Array.isArray(value) && value.length > 0)
    return value.map((item: Json, i): [string, Json] => [`${part}[${i}]`, item]);
  if (isObject(value) && Object.keys(value).length > 0)
    return Object.entries(value).map(([key, item]) => [part === "" ? key : `${part}.${key}`, item as Json]);
  return [[part, value]];
}

const cellsOf = ({ cells }: Notebook): Record<string, CellDigests> =>
  Object.fromEntries(
    cells.map((cell) => {
      const outputs = cell.cell_type === "code" ? cell.outputs : [];
      // Counters say nothing about results.
      return [
        cell.id,
        { source: digest(cell.source), outputs: outputs.map((output) => digest({ ...output, execution_count: null })) },
      ];
    }),
  );

/** More crossings than this are not cells that were changed one by one. */
const mostCells = 60;

/** Names every part that is no longer what it was when the bundle was made. */
export function compareParts(then: PartDigests, now: PartDigests, table: FrameTable): Compared {
  const was = { bundled: "another value", found: "changed", words: "is not what it was when the bundle was made" };
  const differences: Difference[] = tableDifferences(then, now, table);
  let compared = then.rows.length * Object.keys(then.columns).length;
  for (const [where, parts] of Object.entries(then.json)) {
    compared += Object.keys(parts).length;
    for (const part of changed(parts, now.json[where] ?? {}))
      differences.push({ where, row: part, column: "value", ...was });
  }
  for (const [where, cells] of Object.entries(then.cells)) {
    const others = now.cells[where] ?? {};
    const ids = [...new Set([...Object.keys(cells), ...Object.keys(others)])];
    compared += ids.length;
    for (const id of ids) {
      const row = `cell id ${id}`;
      const [before, after] = [cells[id], others[id]];
      if (before === undefined || after === undefined) {
        const found = after === undefined ? "is missing" : "is there";
        differences.push({ where, row, column: "cell", bundled: before ? "was there" : "not there", found });
        continue;
      }
      if (before.source !== after.source) differences.push({ where, row, column: "text of the cell", ...was });
      if (before.outputs.length !== after.outputs.length)
        differences.push({
          where,
          row,
          column: "outputs",
          bundled: String(before.outputs.length),
          found: String(after.outputs.length),
        });
      else
        for (const i of before.outputs.keys())
          if (before.outputs[i] !== after.outputs[i])
            differences.push({ where, row, column: `output ${i + 1}`, ...was });
    }
  }
  return { differences, compared };
}

const changed = (then: { readonly [name: string]: string }, now: { readonly [name: string]: string }) =>
  [...new Set([...Object.keys(then), ...Object.keys(now)])].filter((name) => then[name] !== now[name]);

function tableDifferences(then: PartDigests, now: PartDigests, table: FrameTable): Difference[] {
  const where = "frames.ecsv";
  if (then.rows.length !== now.rows.length)
    return [{ where, row: "all", column: "rows", bundled: String(then.rows.length), found: String(now.rows.length) }];
  const rows = then.rows.flatMap((digest, row) => (digest === now.rows[row] ? [] : [row]));
  const columns = columnNames.filter((name) => then.columns[name] !== now.columns[name]);
  const was = "another value";
  // With one row or one column every crossing is a changed cell; with more, the changed cells are among them.
  const isExact = rows.length === 1 || columns.length === 1;
  if (rows.length * columns.length > mostCells)
    return [
      {
        where,
        row: `${rows.length} rows from ${table.file[rows[0]!]} on`,
        column: columns.join(", "),
        bundled: was,
        found: "changed",
        words: "are not what they were when the bundle was made",
      },
    ];
  return rows.flatMap((row) =>
    columns.map((column) => {
      const found = valueWords(table[column][row]!);
      const words = isExact
        ? `${found} stands there; it was another value when the bundle was made`
        : `${found} stands there; it, or another of these rows and columns, was another value when the bundle was made`;
      return { where, row: table.file[row]!, column, bundled: was, found, words };
    }),
  );
}

const valueWords = (value: number | string): string =>
  typeof value === "string" ? value || "(empty)" : Number.isNaN(value) ? "not measured" : String(value);
