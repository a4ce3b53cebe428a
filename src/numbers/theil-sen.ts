import { CallError } from "../terms/errors.js";
import { median } from "./quantiles.js";
import { normalTwoSided } from "./tails.js";

/** A straight line that outliers do not sway. */
export interface RobustLine {
  /** Median of the slopes of all pairs. */
  readonly slope: number;
  /** Median of y - slope x. */
  readonly intercept: number;
}

/**
 * Theil's and Sen's line (Sen 1968, J. Am. Stat. Assoc. 63, 1379): holds with up to 29 % of wild values. Time and memory
 * grow with the square of the rows; meant for up to a few thousand.
 * @param x - finite
 * @param y - finite, as many as x
 * @throws CallError when all x are the same
 */
export function theilSen(x: ArrayLike<number>, y: ArrayLike<number>): RobustLine {
  const n = x.length;
  const slopes = new Float64Array((n * (n - 1)) / 2);
  let count = 0;
  for (let i = 0; i < n; i++)
    for (let j = 0; j < i; j++) if (x[i] !== x[j]) slopes[count++] = (y[i] - y[j]) / (x[i] - x[j]);
  if (count === 0) throw new CallError("A line needs at least two different x");
  const slope = median(slopes.subarray(0, count));
  return { slope, intercept: median(Float64Array.from(x, (v, i) => y[i] - slope * v)) };
}

/**
 * The Mann-Kendall test for a trend in evenly or unevenly timed values (Mann 1945; Kendall 1975), with the variance
 * corrected for ties and continuity, for independent values.
 * @param values - finite, in time
 */
export function mannKendall(values: ArrayLike<number>): { s: number; variance: number; z: number; p: number } {
  const n = values.length;
  const ties = new Map<number, number>();
  let s = 0;
  for (let i = 0; i < n; i++) {
    ties.set(values[i], (ties.get(values[i]) ?? 0) + 1);
    for (let j = 0; j < i; j++) s += Math.sign(values[i] - values[j]);
  }
  let variance = n * (n - 1) * (2 * n + 5);
  for (const t of ties.values()) variance -= t * (t - 1) * (2 * t + 5);
  variance /= 18;
  const z = (s - Math.sign(s)) / Math.sqrt(variance);
  return { s, variance, z, p: normalTwoSided(z) };
}
