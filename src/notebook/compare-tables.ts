import { type ColumnName, columnNames, type FrameTable } from "../terms/frame-table.js";

/** One value that is not what the bundle says. */
export interface Difference {
  /** For example `frames.ecsv`. */
  readonly where: string;
  /** The row: a file of the table, a group, a cell. */
  readonly row: string;
  readonly column: string;
  /** As the bundle says. */
  readonly bundled: string;
  /** As it came out now. */
  readonly found: string;
  /** What to say instead of both values, where only one of them is known. */
  readonly words?: string;
}

/** Two numbers count as equal within this much of the larger, or within {@link tinyDifference}. */
export const relativeTolerance = 1e-6;
export const tinyDifference = 1e-9;

/** True when two numbers agree within the tolerances; NaN (not measured) agrees with NaN only. */
export function agrees(a: number, b: number): boolean {
  if (Number.isNaN(a) || Number.isNaN(b)) return Number.isNaN(a) && Number.isNaN(b);
  return a === b || Math.abs(a - b) <= Math.max(tinyDifference, relativeTolerance * Math.max(Math.abs(a), Math.abs(b)));
}

export interface TableComparison {
  readonly where: string;
  /** Which columns; all without it. */
  readonly columns?: readonly ColumnName[];
  /** Columns that the bundle holds rounded, with their decimals: half a unit of the last one is allowed too. */
  readonly rounded?: { readonly [column: string]: number };
}

/** Compares two frame tables value by value; rows are matched by file. */
export function compareTables(
  bundled: FrameTable,
  found: FrameTable,
  { where, columns = columnNames, rounded = {} }: TableComparison,
): { differences: Difference[]; compared: number } {
  const differences: Difference[] = [];
  let compared = 0;
  const rowOf = new Map(found.file.map((file, row) => [file, row]));
  bundled.file.forEach((file, row) => {
    const other = rowOf.get(file);
    if (other === undefined) {
      differences.push({ where, row: file, column: "file", bundled: file, found: "no such row" });
      return;
    }
    rowOf.delete(file);
    for (const column of columns) {
      const [a, b] = [bundled[column][row]!, found[column][other]!];
      const decimals = rounded[column];
      const slack = decimals === undefined ? 0 : 0.5 * 10 ** -decimals * (1 + relativeTolerance);
      const same = typeof a === "number" && typeof b === "number" ? agrees(a, b) || Math.abs(a - b) <= slack : a === b;
      compared++;
      if (!same) differences.push({ where, row: file, column, bundled: words(a), found: words(b) });
    }
  });
  for (const file of rowOf.keys())
    differences.push({ where, row: file, column: "file", bundled: "no such row", found: file });
  return { differences, compared };
}

const words = (value: number | string): string =>
  typeof value === "string" ? value || "(empty)" : Number.isNaN(value) ? "not measured" : String(value);
