import { quantile } from "../numbers/quantiles.js";
import { CallError } from "../terms/errors.js";
import {
  columnNames,
  type FrameColumns,
  type FrameTable,
  frameTable,
  isTextColumn,
  withColumns,
} from "../terms/frame-table.js";
import { isKept } from "./nights.js";

/** Tables of several triage results as one. */
export interface CombinedTable {
  readonly table: FrameTable;
  /** Which table each row comes from. */
  readonly from: Int32Array;
  /**
   * Filters whose subs could not be put on one scale between tables (other gain or image size, or no noise measured):
   * their
   * effective exposures still count against each table's own best subs.
   */
  readonly ownScale: readonly string[];
}

/**
 * Puts graded tables together. Each table gives effective exposures against its own best subs; here they are put on one
 * scale, that of the best table of each filter: what counts is exposure^2 / noise^2 of subs at full weight, which is
 * comparable as long as camera, gain and filter are the same and the best subs were taken under clear air.
 * @throws CallError without a table
 * @example
 * ```ts
 * import { combineTables } from "nightyield";
 * const both = combineTables([table, table]);
 * console.log(both.table.rows, both.ownScale);
 * ```
 */
export function combineTables(tables: readonly FrameTable[]): CombinedTable {
  if (tables.length === 0) throw new CallError("There is no table to combine");
  const ownScale = new Set<string>();
  const factors = tables.map(() => new Map<string, number>());
  for (const key of new Set(tables.flatMap((table) => keysOf(table)))) {
    const qualities = tables.map((table) => bestQuality(table, key));
    const there = qualities.filter(Number.isFinite);
    const best = Math.max(...there);
    for (const [i, quality] of qualities.entries()) factors[i].set(key, Number.isFinite(quality) ? quality / best : 1);
    const [filter] = JSON.parse(key) as [string];
    const same = tables.filter((table) => keysOf(table).some((other) => (JSON.parse(other) as [string])[0] === filter));
    if (same.length > there.length) ownScale.add(filter);
  }
  const rows = tables.reduce((sum, table) => sum + table.rows, 0);
  const from = Int32Array.from(tables.flatMap((table, i) => new Array<number>(table.rows).fill(i)));
  const columns: Record<string, unknown> = {};
  for (const name of columnNames)
    columns[name] = isTextColumn(name)
      ? tables.flatMap((table) => [...table[name]])
      : Float64Array.from(tables.flatMap((table) => Array.from(table[name] as ArrayLike<number>)));
  const all = frameTable(rows, columns as Partial<FrameColumns>);
  const effectiveExposureS = Float64Array.from(
    all.effectiveExposureS,
    (s, row) => s * (factors[from[row]].get(keyOf(all, row)) ?? 1),
  );
  return { table: withColumns(all, { effectiveExposureS }), from, ownScale: [...ownScale] };
}

const keyOf = (table: FrameTable, row: number): string =>
  JSON.stringify([
    table.filter[row],
    table.target[row].toLowerCase(),
    table.gainSetting[row],
    table.width[row],
    table.height[row],
  ]);

function keysOf(table: FrameTable): string[] {
  const keys = new Set<string>();
  for (let row = 0; row < table.rows; row++) if (table.kind[row] === "light") keys.add(keyOf(table, row));
  return [...keys];
}

/** exposure / (noise^2 weight) of the kept subs: what a sub of weight 1 would give per second; NaN without any. */
function bestQuality(table: FrameTable, key: string): number {
  const values: number[] = [];
  for (let row = 0; row < table.rows; row++)
    if (isKept(table, row) && table.weight[row] > 0 && table.noiseAdu[row] > 0 && keyOf(table, row) === key)
      values.push(table.weight[row] >= 0.8 ? table.exposureS[row] / table.noiseAdu[row] ** 2 : Number.NaN);
  return quantile(values, 0.5);
}
