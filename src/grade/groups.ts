import type { FrameTable } from "../terms/frame-table.js";

/** Light frames that may be compared with one another: one target, filter, exposure, gain and image size. */
export interface Group {
  readonly target: string;
  readonly filter: string;
  readonly exposureS: number;
  readonly gainSetting: number;
  /** Row numbers in the frame table, in time where it is known. */
  readonly rows: readonly number[];
}

/**
 * Splits the light frames of a table into comparable groups. A sub is never compared across groups.
 * @returns groups in the order of their first row
 * @example
 * ```ts
 * import { groupsOf } from "nightyield";
 * for (const { target, filter, rows } of groupsOf(table)) console.log(target, filter, rows.length);
 * ```
 */
export function groupsOf(table: FrameTable): Group[] {
  const groups = new Map<string, { first: number; rows: number[] }>();
  for (let row = 0; row < table.rows; row++) {
    if (table.kind[row] !== "light") continue;
    const key = JSON.stringify([
      table.target[row]!.toLowerCase(),
      table.filter[row],
      table.exposureS[row],
      table.gainSetting[row],
      table.width[row],
      table.height[row],
    ]);
    const group = groups.get(key);
    if (group === undefined) groups.set(key, { first: row, rows: [row] });
    else group.rows.push(row);
  }
  return [...groups.values()].map(({ first, rows }) => ({
    target: table.target[first]!,
    filter: table.filter[first]!,
    exposureS: table.exposureS[first]!,
    gainSetting: table.gainSetting[first]!,
    rows: rows.sort((a, b) => compareText(table.startUtc[a]!, table.startUtc[b]!) || a - b),
  }));
}

const compareText = (a: string, b: string) => (a < b ? -1 : a > b ? 1 : 0);
