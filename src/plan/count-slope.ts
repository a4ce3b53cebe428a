import { extinctionAtHeight } from "../sky/extinction.js";
import type { FrameTable } from "../terms/frame-table.js";

/** How star counts grow with depth: N ~ depth^value. */
export interface CountSlope {
  readonly value: number;
  /** Standard error. */
  readonly error: number;
  /** `assumed`: the night's subs are too much alike in depth to tell. */
  readonly from: "measured" | "assumed";
}

/**
 * Star counts grow by 0.34 in log10 a magnitude, give or take 0.08, among the stars that small telescopes show: 0.85 in
 * log depth. An assumption of this project.
 */
const assumed = { value: 0.85, error: 0.2 };
/** Detection near the limit, crowding and wide stars add at least this error to any fit. */
const leastError = 0.08;
/** The depths of the subs must scatter by this much in log10 before a slope is believed. */
const leastSpread = 0.06;

/**
 * The slope of log star count against log depth within one target and filter, from subs that went unequally deep (other
 * exposures, haze, moonlight), joined with the assumption by their errors. Depth is exposure x transparency x air over
 * noise x width of the stars.
 * @param rows - subs of one target and filter, dropped ones included
 * @example
 * ```ts
 * import { countSlope, depthReached } from "nightyield";
 * for (const { filter, rows } of depthReached(table)) console.log(filter, countSlope(table, rows));
 * ```
 */
export function countSlope(table: FrameTable, rows: readonly number[]): CountSlope {
  const points = rows.flatMap((row) => {
    const count = table.starCount[row];
    const air = 10 ** (-0.4 * extinctionAtHeight(0) * ((table.airmass[row] || 1) - 1));
    const through = Number.isFinite(table.transparency[row]) ? table.transparency[row] : 1;
    const depth = (table.exposureS[row] * through * air) / (table.noiseAdu[row] * table.fwhmPx[row]);
    const whole = !(table.blockedFraction[row] > 0.02) && !(table.eccentricity[row] > 0.8);
    return count >= 5 && depth > 0 && Number.isFinite(depth) && whole
      ? [{ x: Math.log10(depth), y: Math.log10(count), w: count }]
      : [];
  });
  if (points.length < 6) return { ...assumed, from: "assumed" };
  const total = points.reduce((sum, { w }) => sum + w, 0);
  const mean = (of: (p: (typeof points)[number]) => number) => points.reduce((sum, p) => sum + p.w * of(p), 0) / total;
  const [mx, my] = [mean(({ x }) => x), mean(({ y }) => y)];
  const xx = mean(({ x }) => (x - mx) ** 2);
  const value = mean(({ x, y }) => (x - mx) * (y - my)) / xx;
  if (!(Math.sqrt(xx) > leastSpread)) return { ...assumed, from: "assumed" };
  const left = mean(({ x, y }) => (y - my - value * (x - mx)) ** 2);
  const error = Math.hypot(Math.sqrt(left / xx / (points.length - 2)), leastError);
  // Two estimates, weighted by the inverse of their variances.
  const [own, prior] = [1 / error ** 2, 1 / assumed.error ** 2];
  return {
    value: (own * value + prior * assumed.value) / (own + prior),
    error: 1 / Math.sqrt(own + prior),
    from: "measured",
  };
}
