import { poissonInterval } from "../numbers/poisson-interval.js";
import type { FrameTable } from "../terms/frame-table.js";
import { nightsOf } from "./nights.js";

/** How often something spoils a sub: gusts, bumps, guide jumps. */
export interface LossRate {
  readonly events: number;
  /** Exposure that was watched, s. */
  readonly exposureS: number;
  /** Events per second of exposure, with a 90 % interval (Garwood 1936). */
  readonly perS: number;
  readonly lowPerS: number;
  readonly highPerS: number;
}

/**
 * Counts short events: runs of one or two dropped subs among kept ones. Longer runs are weather, focus or the horizon,
 * which longer or shorter subs would not change.
 * @example
 * ```ts
 * import { depthReached, lossRate } from "nightyield";
 * const [{ rows }] = depthReached(table);
 * console.log(lossRate(table, rows).perS);
 * ```
 */
export function lossRate(table: FrameTable, rows: readonly number[]): LossRate {
  let events = 0;
  let exposureS = 0;
  for (const night of nightsOf(table, rows)) {
    let run = 0;
    let before = false;
    for (const row of night.rows) {
      const verdict = table.verdict[row];
      if (verdict === "drop") {
        run++;
        continue;
      }
      if (run > 0 && run <= 2 && before) {
        events++;
        exposureS += run * table.exposureS[row];
      }
      run = 0;
      before = true;
      exposureS += table.exposureS[row] || 0;
    }
  }
  const { low, high } = poissonInterval(events, 0.9);
  return { events, exposureS, perS: events / exposureS, lowPerS: low / exposureS, highPerS: high / exposureS };
}
