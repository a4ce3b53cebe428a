import { twoNormals } from "../numbers/normal-mixture.js";
import { quantileSorted, sortedFinite } from "../numbers/quantiles.js";
import { madToSigma } from "../numbers/robust.js";

/** What comparable good subs show of a quantity. */
export interface Expectation {
  readonly expected: number;
  /** Robust standard deviation of the good part. */
  readonly sigma: number;
}

/** Larger samples are thinned: the test asks for two humps, not for their exact place. */
const mostTested = 200;
/** (skewness^2 + 1) / kurtosis: 1/3 for a normal sample, 5/9 for an even one, 1 for two points. */
const suspicious = 0.45;
/** A hump is a part of the night from this many subs and this share on. */
const fewestInPart = 5;
const leastShare = 0.12;
/** BIC must prefer two humps this clearly. */
const clearly = -10;

/**
 * What the good subs of a group show, where better means lower or higher values. When the values form two humps, tested
 * by BIC before anything is split, the better hump is the good part; otherwise all values are. Of the good part the
 * better end counts (30 % quantile), so a night that is mostly bad without two humps is still judged by its best subs.
 */
export function expectationOf(values: ArrayLike<number>, better: "low" | "high"): Expectation {
  const sorted = sortedFinite(values);
  const sign = better === "low" ? 1 : -1;
  // The better values come first.
  const ordered = sign === 1 ? sorted : sorted.map((_, i) => -sorted[sorted.length - 1 - i]);
  const good = ordered.subarray(0, goodCount(ordered));
  if (good.length === 0) return { expected: Number.NaN, sigma: Number.NaN };
  const expected = quantileSorted(good, 0.3);
  const middle = quantileSorted(good, 0.5);
  const below = good.filter((v) => v <= middle).map((v) => middle - v);
  return { expected: sign * expected, sigma: madToSigma * quantileSorted(below.sort(), 0.5) };
}

/** How many of the values, best first, belong to the better hump; all when there is one hump. */
function goodCount(ordered: Float64Array): number {
  const n = ordered.length;
  const step = Math.max(1, n / mostTested);
  const sample = Float64Array.from({ length: Math.min(n, mostTested) }, (_, i) => ordered[Math.floor(i * step)]);
  if (bimodality(sample) < suspicious) return n;
  const parts = twoNormals(sample);
  if (parts === null || !(parts.bicDifference < clearly)) return n;
  const [low, high] = parts.means;
  const [sigmaLow, sigmaHigh] = parts.sigmas;
  const border = (low * sigmaHigh + high * sigmaLow) / (sigmaLow + sigmaHigh);
  const count = ordered.findIndex((v) => v > border);
  return count >= fewestInPart && count >= leastShare * n ? count : n;
}

/** Sarle's coefficient of bimodality; a quick look before the test that counts. */
function bimodality(values: Float64Array): number {
  const n = values.length;
  let mean = 0;
  for (const v of values) mean += v / n;
  let [m2, m3, m4] = [0, 0, 0];
  for (const v of values) {
    const d = v - mean;
    m2 += (d * d) / n;
    m3 += (d * d * d) / n;
    m4 += (d * d * d * d) / n;
  }
  return m2 > 0 ? ((m3 * m3) / (m2 * m2 * m2) + 1) / (m4 / (m2 * m2)) : 0;
}
