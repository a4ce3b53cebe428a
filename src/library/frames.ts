import type { DataFrame } from "danfojs-node";
import { median, quantile } from "../numbers/quantiles.js";
import { CallError } from "../terms/errors.js";
import {
  type ColumnName,
  columnNames,
  type FrameRow,
  type FrameTable,
  frameRow,
  isColumnName,
  isTextColumn,
  type NumberColumn,
  type NumberColumnName,
  selectRows,
  type TextColumn,
  type TextColumnName,
} from "../terms/frame-table.js";
import { type By, FrameGroups, groupRows } from "./frame-groups.js";
import { type Direction, sorted, Table } from "./plain-table.js";

/** What a reader looks at first. */
export const firstColumns: readonly ColumnName[] = [
  "file",
  "filter",
  "exposureS",
  "starCount",
  "fwhmPx",
  "verdict",
  "symptoms",
];

/**
 * The subs of a night, to look at, choose from and count. Every method gives something new; the table never changes.
 * The columns and their units are those of {@link columnRegistry}. Make one with {@link framesOf}.
 */
export class Frames implements Iterable<FrameRow> {
  /** The same as columns. */
  readonly table: FrameTable;

  constructor(table: FrameTable) {
    this.table = table;
  }

  /** Number of subs, or of other files among them. */
  get length(): number {
    return this.table.rows;
  }

  *[Symbol.iterator](): Iterator<FrameRow> {
    for (let row = 0; row < this.length; row++) yield frameRow(this.table, row);
  }

  /** Each sub as a plain object with all columns; NaN or an empty text: not measured. */
  rows(): FrameRow[] {
    return [...this];
  }

  /**
   * One column.
   * @throws CallError when there is no such column; the message lists those that there are
   */
  column(name: NumberColumnName): NumberColumn;
  column(name: TextColumnName): TextColumn;
  column(name: ColumnName): NumberColumn | TextColumn {
    return this.table[known(name)];
  }

  /** The subs for which the test holds. */
  filter(test: (frame: FrameRow, row: number) => boolean): Frames {
    const chosen: number[] = [];
    for (let row = 0; row < this.length; row++) if (test(frameRow(this.table, row), row)) chosen.push(row);
    return new Frames(selectRows(this.table, chosen));
  }

  /** The light frames that go into the stack: verdict `keep` or `borderline`. */
  kept(): Frames {
    return this.filter(({ verdict }) => verdict === "keep" || verdict === "borderline");
  }

  /**
   * The subs in another order; those without a value come last.
   * @param by - a column, or what to sort by
   * @param direction - `up`: the smallest or earliest first
   */
  sortBy(by: ColumnName | ((frame: FrameRow) => number | string), direction: Direction = "up"): Frames {
    const value = typeof by === "function" ? by : (frame: FrameRow) => frame[known(by)];
    const values = this.rows().map(value);
    const order = sorted([...values.keys()], (row) => values[row], direction);
    return new Frames(selectRows(this.table, order));
  }

  /** The first so many. */
  head(count = 10): Frames {
    return new Frames(
      selectRows(
        this.table,
        Array.from({ length: Math.min(count, this.length) }, (_, row) => row),
      ),
    );
  }

  /**
   * Subs that have something in common.
   * @param by - columns; or a name with what to group by, as `{ band: f => 10 * Math.floor(f.altitudeDeg / 10) }`
   * @throws CallError when nothing is given to group by, or there is no such column
   */
  groupBy(...by: readonly By[]): FrameGroups {
    if (by.length === 0) throw new CallError('Say by what to group, for example groupBy("filter")');
    return new FrameGroups(
      groupRows(this, by).map(({ key, rows }) => ({ key, frames: new Frames(selectRows(this.table, rows)) })),
    );
  }

  /** The median of a column, without what was not measured; NaN when nothing was. */
  median(name: NumberColumnName): number {
    return median(numbers(this.table, name));
  }

  /** The mean of a column, without what was not measured; NaN when nothing was. */
  mean(name: NumberColumnName): number {
    const values = Array.from(numbers(this.table, name)).filter(Number.isFinite);
    return values.reduce((sum, value) => sum + value, 0) / values.length;
  }

  /** The sum of a column, without what was not measured. */
  sum(name: NumberColumnName): number {
    return Array.from(numbers(this.table, name)).reduce((sum, value) => sum + (Number.isFinite(value) ? value : 0), 0);
  }

  /**
   * A quantile of a column, without what was not measured.
   * @param p - 0 (the smallest) to 1 (the largest)
   */
  quantile(name: NumberColumnName, p: number): number {
    if (!(p >= 0 && p <= 1)) throw new CallError(`A quantile lies between 0 and 1, not at ${p}`);
    return quantile(numbers(this.table, name), p);
  }

  /** Some columns as a table, to be shown or printed. */
  select<N extends ColumnName>(...names: readonly N[]): Table<Pick<FrameRow, N>> {
    for (const name of names) known(name);
    return new Table(
      this.rows().map((frame) => Object.fromEntries(names.map((name) => [name, frame[name]])) as Pick<FrameRow, N>),
    );
  }

  /**
   * The same as a DataFrame of danfojs, whose functions are at https://danfo.jsdata.org; the package is loaded on first
   * use (a second or two). NaN stays NaN.
   * @param names - which columns; all that hold something when left out
   */
  async toDataFrame(...names: readonly ColumnName[]): Promise<DataFrame> {
    const wanted = names.length > 0 ? names.map(known) : columnNames.filter((name) => this.#holds(name));
    const { default: danfo } = await import("danfojs-node");
    // Columns one by one, as plain arrays: a typed array would become a tensor.
    return new danfo.DataFrame(Object.fromEntries(wanted.map((name) => [name, Array.from<unknown>(this.table[name])])));
  }

  /** The first columns as text. */
  toString(): string {
    const size = `${this.length} ${this.length === 1 ? "frame" : "frames"}`;
    const rest = this.length > 20 ? ", the first 20 of them here" : "";
    return new Table(this.head(20).select(...firstColumns).rows, `${size}${rest}`).toString();
  }

  /** For `console.log`. */
  [Symbol.for("nodejs.util.inspect.custom")](): string {
    return this.toString();
  }

  #holds(name: ColumnName): boolean {
    const column = this.table[name];
    return isTextColumn(name)
      ? (column as TextColumn).some((text) => text !== "")
      : Array.from(column as NumberColumn).some((value) => !Number.isNaN(value));
  }
}

/**
 * The subs of a night, ready to be filtered, grouped and counted.
 * @param from - a night as {@link triageNight} or {@link openNight} gives it, a graded night, or a frame table
 * @throws CallError when it is none of these
 * @example
 * ```ts
 * import { framesOf, triageNight } from "nightyield";
 * const night = await triageNight(["subs"]);
 * const frames = framesOf(night);
 * console.log(frames.filter((f) => f.altitudeDeg > 40).groupBy("filter").median("fwhmPx"));
 * ```
 */
export function framesOf(from: FrameTable | { readonly table: FrameTable }): Frames {
  const table = typeof from === "object" && from !== null && "table" in from ? from.table : from;
  if (!(table?.rows >= 0) || table.fwhmPx?.length !== table.rows)
    throw new CallError("framesOf needs a night or a frame table, as triageNight and openNight give it");
  return new Frames(table);
}

function numbers(table: FrameTable, name: NumberColumnName): NumberColumn {
  if (isTextColumn(known(name))) throw new CallError(`The column ${name} holds texts, not numbers`);
  return table[name];
}

/** Notebooks are not always compiled strictly: a wrong name says which there are. */
export function known<N extends ColumnName>(name: N): N {
  if (!isColumnName(name)) throw new CallError(`There is no column ${name}. Columns: ${columnNames.join(", ")}`);
  return name;
}
