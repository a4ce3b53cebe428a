import { median } from "../numbers/quantiles.js";
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
   * Targets and filters that stand in several tables but could not be put on one scale: their effective exposures still
   * count against each table's own best subs. Different targets each have a scale of their own and are not listed; see
   * `likeScale`.
   */
  readonly ownScale: readonly OwnScale[];
}

/** Why subs of one target and filter are not on one scale. */
export interface OwnScale {
  readonly target: string;
  readonly filter: string;
  readonly because: "gain" | "image-size" | "noise-not-measured";
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
  const factors = tables.map(() => new Map<string, number>());
  const keysOfTables = tables.map(keysOf);
  const keys = new Map(keysOfTables.flatMap((of) => [...of]));
  for (const key of keys.keys()) {
    const qualities = tables.map((table) => bestQuality(table, key));
    const best = Math.max(...qualities.filter(Number.isFinite));
    for (const [i, quality] of qualities.entries()) factors[i].set(key, Number.isFinite(quality) ? quality / best : 1);
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
  return { table: withColumns(all, { effectiveExposureS }), from, ownScale: ownScales(tables, keysOfTables) };
}

/** Targets and filters of several tables that share no key, or whose noise was not measured. */
function ownScales(tables: readonly FrameTable[], keysOfTables: readonly ReadonlyMap<string, number>[]): OwnScale[] {
  const found = new Map<string, OwnScale>();
  const seen = new Map<string, { readonly table: FrameTable; readonly row: number }[]>();
  for (const [i, table] of tables.entries())
    for (const row of keysOfTables[i].values()) {
      const name = JSON.stringify([table.target[row].toLowerCase(), table.filter[row]]);
      seen.set(name, [...(seen.get(name) ?? []), { table, row }]);
    }
  for (const [name, places] of seen) {
    if (new Set(places.map(({ table }) => table)).size < 2) continue;
    const [{ table, row }] = places;
    const differs = (...columns: readonly ("gainSetting" | "width" | "height")[]) =>
      columns.some((column) => places.some((one) => !Object.is(one.table[column][one.row], table[column][row])));
    const because = differs("gainSetting")
      ? "gain"
      : differs("width", "height")
        ? "image-size"
        : places.some((one) => lacksNoise(one.table, keyOf(one.table, one.row)))
          ? "noise-not-measured"
          : null;
    if (because !== null) found.set(name, { target: table.target[row], filter: table.filter[row], because });
  }
  return [...found.values()];
}

/** Subs are kept, but the noise of none is known. Where nothing is kept there is nothing to put on a scale. */
function lacksNoise(table: FrameTable, key: string): boolean {
  const kept = table.kind.some((_, row) => isKept(table, row) && keyOf(table, row) === key);
  return kept && Number.isNaN(bestQuality(table, key));
}

const keyOf = (table: FrameTable, row: number): string =>
  JSON.stringify([
    table.filter[row],
    table.target[row].toLowerCase(),
    table.gainSetting[row],
    table.width[row],
    table.height[row],
  ]);

/** Keys of a table's light frames, each with its first row. */
function keysOf(table: FrameTable): Map<string, number> {
  const keys = new Map<string, number>();
  for (let row = 0; row < table.rows; row++) {
    if (table.kind[row] !== "light") continue;
    const key = keyOf(table, row);
    if (!keys.has(key)) keys.set(key, row);
  }
  return keys;
}

/** exposure / noise^2 of the kept subs near full weight: what a sub of weight 1 gives per second; NaN without any. */
function bestQuality(table: FrameTable, key: string): number {
  const values: number[] = [];
  for (let row = 0; row < table.rows; row++)
    if (isKept(table, row) && table.weight[row] >= 0.8 && table.noiseAdu[row] > 0 && keyOf(table, row) === key)
      values.push(table.exposureS[row] / table.noiseAdu[row] ** 2);
  return median(values);
}
