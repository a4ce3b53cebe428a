import { CallError } from "./errors.js";
import {
  type ColumnName,
  columnNames,
  columnRegistry,
  type FrameColumns,
  type FrameTable,
  frameTable,
  isColumnName,
  isTextColumn,
} from "./frame-table.js";

/** A column of any table, as ECSV describes it. */
export interface EcsvColumn {
  readonly name: string;
  readonly type: "float" | "integer" | "text";
  /** As astropy spells it; empty: none. */
  readonly unit: string;
  readonly description: string;
  readonly values: ArrayLike<number> | readonly string[];
}

const datatypes = { float: "float64", integer: "int64", text: "string" } as const;

/**
 * Any table as ECSV 1.0 (Enhanced Character-Separated Values, astropy APE 6), comma-separated.
 * A float that was not measured is `nan`, an integer is empty (masked when read).
 */
export function writeEcsvColumns(columns: readonly EcsvColumn[]): string {
  const rows = columns[0]?.values.length ?? 0;
  const lines = ["# %ECSV 1.0", "# ---", "# delimiter: ','", "# datatype:"];
  for (const column of columns) {
    const parts = [`name: ${column.name}`];
    if (column.unit !== "") parts.push(`unit: ${column.unit}`);
    parts.push(`datatype: ${datatypes[column.type]}`, `description: '${column.description.replaceAll("'", "''")}'`);
    lines.push(`# - {${parts.join(", ")}}`);
  }
  lines.push("# schema: astropy-2.0", columns.map((column) => column.name).join(","));
  for (let row = 0; row < rows; row++) lines.push(columns.map((column) => field(column, row)).join(","));
  return `${lines.join("\n")}\n`;
}

function field({ type, values }: EcsvColumn, row: number): string {
  const value = values[row]!;
  if (typeof value === "string") return /^[\w.:;+-]+$/.test(value) ? value : `"${value.replaceAll('"', '""')}"`;
  if (type === "integer") return Number.isFinite(value) ? String(Math.round(value)) : "";
  if (Number.isNaN(value)) return "nan";
  return Number.isFinite(value) ? String(value) : value > 0 ? "inf" : "-inf";
}

/**
 * The frame table as ECSV. astropy's `Table.read(..., format='ascii.ecsv')` opens it unchanged.
 * @example
 * ```ts
 * import { writeEcsv } from "nightyield";
 * console.log(writeEcsv(table).split("\n").length);
 * ```
 */
export function writeEcsv(table: FrameTable): string {
  return writeEcsvColumns(columnNames.map((name) => ({ name, ...columnRegistry[name], values: table[name] })));
}

/**
 * Reads ECSV text back into columns. Both delimiters of the format are understood; columns that are no text become
 * numbers, with NaN where the field is empty.
 * @param file - for messages
 * @throws CallError when the text is not ECSV, or a row has another number of fields than the header
 */
export function readEcsvColumns(text: string, file: string): EcsvColumn[] {
  const records = splitRecords(text, file);
  const described = new Map(records.described.map((column) => [column.name, column]));
  const [names, ...rows] = records.rows;
  if (names === undefined) throw wrong(file, 1, "there is no line with column names");
  return names.fields.map((name, index) => {
    const { type, unit, description } = described.get(name) ?? { type: "text", unit: "", description: "" };
    const fields = rows.map((row) => {
      if (row.fields.length !== names.fields.length)
        throw wrong(file, row.line, `${row.fields.length} fields where the header has ${names.fields.length}`);
      return row.fields[index]!;
    });
    return { name, type, unit, description, values: type === "text" ? fields : Float64Array.from(fields, numberOf) };
  });
}

/**
 * Reads a frame table back from ECSV. Columns that the frame table does not know are left out; missing ones are empty.
 * @throws CallError when the text is not ECSV
 * @example
 * ```ts
 * import { readEcsv } from "nightyield";
 * const frames = readEcsv(text, "frames.ecsv");
 * console.log(frames.rows, frames.fwhmPx[0]);
 * ```
 */
export function readEcsv(text: string, file: string): FrameTable {
  const columns = readEcsvColumns(text, file).filter((column) => isColumnName(column.name));
  for (const { name, type } of columns)
    if ((type === "text") !== isTextColumn(name as ColumnName))
      throw wrong(file, 1, `column ${name} is of type ${type}`);
  const rows = columns[0]?.values.length ?? 0;
  return frameTable(
    rows,
    Object.fromEntries(columns.map(({ name, values }) => [name, values])) as Partial<FrameColumns>,
  );
}

function numberOf(field: string): number {
  if (field === "") return Number.NaN;
  if (/^[+-]?inf$/i.test(field)) return field.startsWith("-") ? Number.NEGATIVE_INFINITY : Number.POSITIVE_INFINITY;
  return Number(field);
}

type Described = Pick<EcsvColumn, "name" | "type" | "unit" | "description">;
interface Record_ {
  readonly line: number;
  readonly fields: string[];
}

function splitRecords(text: string, file: string): { described: Described[]; rows: Record_[] } {
  if (!text.startsWith("# %ECSV 1.0")) throw wrong(file, 1, "the first line is not '# %ECSV 1.0'");
  const described: Described[] = [];
  let delimiter = " ";
  let at = 0;
  let line = 1;
  while (text.startsWith("#", at)) {
    const end = lineEnd(text, at);
    const yaml = text.slice(at + 1, end).trim();
    if (yaml.startsWith("delimiter:") && yaml.includes("','")) delimiter = ",";
    const column = /^- \{(.*)\}$/.exec(yaml);
    if (column !== null) described.push(describe(column[1]!, file, line));
    at = end + 1;
    line++;
  }
  return { described, rows: splitRows(text, at, line, delimiter) };
}

function describe(flow: string, file: string, line: number): Described {
  const value = (key: string) => {
    const found = new RegExp(`(?:^|, )${key}: (?:'((?:[^']|'')*)'|"((?:[^"\\\\]|\\\\.)*)"|([^,]*))`).exec(flow);
    return found === null ? "" : (found[1]?.replaceAll("''", "'") ?? found[2] ?? found[3] ?? "").trim();
  };
  const datatype = value("datatype");
  if (value("name") === "" || datatype === "") throw wrong(file, line, "a column without name or datatype");
  const type = datatype === "string" ? "text" : /^u?int/.test(datatype) ? "integer" : "float";
  return { name: value("name"), type, unit: value("unit"), description: value("description") };
}

function splitRows(text: string, from: number, firstLine: number, delimiter: string): Record_[] {
  const rows: Record_[] = [];
  let line = firstLine;
  let at = from;
  while (at < text.length) {
    const fields: string[] = [];
    const startLine = line;
    for (;;) {
      let value = "";
      if (text[at] === '"') {
        for (at++; at < text.length; at++) {
          if (text[at] === '"' && text[at + 1] !== '"') break;
          if (text[at] === '"') at++;
          if (text[at] === "\n") line++;
          value += text[at];
        }
        at++;
      } else {
        const start = at;
        while (at < text.length && text[at] !== delimiter && text[at] !== "\n" && text[at] !== "\r") at++;
        value = text.slice(start, at);
      }
      fields.push(value);
      if (text[at] !== delimiter) break;
      at++;
    }
    if (text[at] === "\r") at++;
    at++;
    line++;
    if (fields.length > 1 || fields[0] !== "") rows.push({ line: startLine, fields });
  }
  return rows;
}

function lineEnd(text: string, from: number): number {
  const end = text.indexOf("\n", from);
  return end < 0 ? text.length : end;
}

const wrong = (file: string, line: number, problem: string) =>
  new CallError(
    `Cannot read the table ${file}, line ${line}: ${problem}. Write it again with nightyield measure or triage`,
  );
