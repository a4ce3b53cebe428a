import { CallError } from "../terms/errors.js";
import { type ColumnName, columnRegistry, isColumnName } from "../terms/frame-table.js";
import { units } from "../terms/units.js";
import { sortableTable, type TableColumn, textTable } from "./table-text.js";

/** What a cell of a table may hold; NaN, null and undefined are shown as nothing. */
export type Cell = string | number | boolean | null | undefined;
/** One row: a value for each heading. */
export type Row = Readonly<Record<string, Cell>>;
/** The same for objects of a named type, whose fields are known. */
export type RowOf<R> = Readonly<Record<keyof R, Cell>>;

const mostHtmlRows = 500;
const mostTextRows = 60;
const displaySymbol = Symbol.for("Jupyter.display");
const inspectSymbol = Symbol.for("nodejs.util.inspect.custom");

/**
 * Rows with headings. As the last value of a notebook cell it is a table; printed, it is the same in text.
 * Numbers of one column have as many decimals as three digits of its largest value need.
 */
export class Table<R extends RowOf<R> = Row> implements Iterable<R> {
  /** The rows as plain objects. */
  readonly rows: readonly R[];
  /** What the table shows, in one line; may be empty. */
  readonly caption: string;

  constructor(rows: readonly R[], caption = "") {
    this.rows = rows;
    this.caption = caption;
  }

  /** Number of rows. */
  get length(): number {
    return this.rows.length;
  }

  [Symbol.iterator](): Iterator<R> {
    return this.rows[Symbol.iterator]();
  }

  /** The headings, in the order in which rows first use them. */
  get headings(): string[] {
    return [...new Set(this.rows.flatMap((row) => Object.keys(row)))];
  }

  /** The values below one heading. */
  column<K extends keyof R>(heading: K): R[K][] {
    return this.rows.map((row) => row[heading]);
  }

  /**
   * The rows in another order; those without a value come last.
   * @param by - a heading, or what to sort by
   * @param direction - `up`: the smallest first
   */
  sortBy(by: keyof R | ((row: R) => Cell), direction: Direction = "up"): Table<R> {
    const value = typeof by === "function" ? by : (row: R) => row[by];
    return new Table(sorted(this.rows, value, direction), this.caption);
  }

  /** The rows for which the test holds. */
  filter(test: (row: R) => boolean): Table<R> {
    return new Table(this.rows.filter(test), this.caption);
  }

  /** The table as text, columns aligned. */
  toString(): string {
    const size = this.length > mostTextRows ? `${this.length} rows, the first ${mostTextRows} of them here` : "";
    const head = [this.caption, size].filter(Boolean).join("; ");
    if (this.length === 0) return head === "" ? "(no rows)" : head;
    return `${head === "" ? "" : `${head}\n`}${textTable(this.#shown(mostTextRows))}`;
  }

  /** For notebooks: how the table is shown. */
  [displaySymbol](): Readonly<Record<string, string>> {
    const text = this.toString();
    if (this.length === 0) return { "text/plain": text };
    const size = this.length > mostHtmlRows ? `${this.length} rows, the first ${mostHtmlRows} of them here` : "";
    const caption = [this.caption, size].filter(Boolean).join("; ");
    return { "text/html": sortableTable(this.#shown(mostHtmlRows), caption), "text/plain": text };
  }

  /** For `console.log`. */
  [inspectSymbol](): string {
    return this.toString();
  }

  #shown(most: number): TableColumn[] {
    const rows = this.rows.slice(0, most);
    return this.headings.map((head) => {
      const values = rows.map((row) => (row as Row)[head]);
      const isNumber = values.every((value) => typeof value === "number" || value === undefined || value === null);
      const decimals = decimalsFor(values);
      return { head, ...titleOf(head), cells: values.map((value) => cellText(value, decimals)), isNumber };
    });
  }
}

/** The smallest value first, or the largest. */
export type Direction = "up" | "down";

/**
 * Makes a table of plain rows, to be shown in a notebook or printed.
 * @param rows - one object a row, its keys are the headings; put the unit at the end of a heading
 * @param caption - one line above it
 * @throws CallError when a row is no plain object
 * @example
 * ```ts
 * import { tableOf } from "nightyield";
 * console.log(String(tableOf([{ filter: "L", subs: 32, hours: 0.27 }, { filter: "Ha", subs: 28, hours: 0.47 }], "One night")));
 * ```
 */
export function tableOf<R extends RowOf<R>>(rows: Iterable<R>, caption = ""): Table<R> {
  const list = [...rows];
  const wrong = list.findIndex((row) => typeof row !== "object" || row === null || Array.isArray(row));
  if (wrong >= 0) throw new CallError(`Row ${wrong} of the table is no object like { filter: "L", subs: 32 }`);
  return new Table(list, caption);
}

/** Items in the order of their values; those without one, or with NaN, come last. The order of equals is kept. */
export function sorted<T>(items: readonly T[], value: (item: T) => Cell, direction: Direction): T[] {
  const turn = direction === "down" ? -1 : 1;
  const missing = (v: Cell) => v === undefined || v === null || v === "" || Number.isNaN(v);
  return items
    .map((item) => ({ item, v: value(item) }))
    .sort((a, b) => {
      if (missing(a.v) || missing(b.v)) return Number(missing(a.v)) - Number(missing(b.v));
      if (typeof a.v === "string" && typeof b.v === "string") return turn * (a.v < b.v ? -1 : Number(a.v > b.v));
      return turn * (Number(a.v) - Number(b.v));
    })
    .map(({ item }) => item);
}

/** Headings that are columns of the frame table explain themselves. */
function titleOf(head: string): { title?: string } {
  if (!isColumnName(head)) return {};
  const { unit, description } = columnRegistry[head satisfies ColumnName];
  return { title: unit === "" ? description : `${description}, ${units[unit]}` };
}

/** As many decimals as three digits of the largest value need; none for whole numbers. */
function decimalsFor(values: readonly Cell[]): number {
  const numbers = values.filter((value): value is number => typeof value === "number" && Number.isFinite(value));
  if (numbers.every(Number.isInteger)) return 0;
  const largest = Math.max(...numbers.map(Math.abs));
  return Math.min(4, Math.max(0, 2 - Math.floor(Math.log10(largest))));
}

function cellText(value: Cell, decimals: number): string {
  if (value === null || value === undefined || Number.isNaN(value)) return "";
  if (typeof value === "boolean") return value ? "yes" : "no";
  if (typeof value === "string") return value;
  return Number.isFinite(value) ? value.toFixed(decimals) : "without end";
}
