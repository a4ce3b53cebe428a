import type { FrameTable } from "../terms/frame-table.js";
import { nightsOf, startMs } from "./nights.js";

/** Whether the field turned with the sky, as it does in an alt-azimuth telescope. */
export type MountKind = "alt-azimuth" | "equatorial" | "not-known";

/**
 * Compares how the field turned between subs (matched by their stars) with how it would turn in an alt-azimuth
 * telescope.
 * Pairs of subs count that lie so far apart that this would be half a degree and more.
 * @param rows - light frames of one target
 * @example
 * ```ts
 * import { depthReached, mountKind } from "nightyield";
 * const [{ rows }] = depthReached(table);
 * console.log(mountKind(table, rows));
 * ```
 */
export function mountKind(table: FrameTable, rows: readonly number[]): MountKind {
  let turning = 0;
  let pairs = 0;
  for (const night of nightsOf(table, rows)) {
    let from = -1;
    let wouldDeg = 0;
    let last = -1;
    for (const row of night.rows) {
      if (!Number.isFinite(table.rotationDeg[row]) || !Number.isFinite(table.rotationRateDegPerH[row])) continue;
      if (from < 0) from = row;
      else wouldDeg += (table.rotationRateDegPerH[row] * (startMs(table, row) - startMs(table, last))) / 3_600_000;
      last = row;
      if (!(Math.abs(wouldDeg) >= 0.5)) continue;
      // Turned by 180 degrees at a meridian flip: only the rest counts.
      const turned = Math.abs(((((table.rotationDeg[row] - table.rotationDeg[from]) % 180) + 270) % 180) - 90);
      pairs++;
      if (turned > Math.abs(wouldDeg) / 2) turning++;
      from = row;
      wouldDeg = 0;
    }
  }
  if (pairs < 3) return "not-known";
  return turning > 0.7 * pairs ? "alt-azimuth" : turning < 0.3 * pairs ? "equatorial" : "not-known";
}
