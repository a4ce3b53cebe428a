import type { Interval } from "./proportion-intervals.js";
import { chiSquareTail, normalQuantile } from "./tails.js";

/** One stratum's two-by-two table: a, b events and non-events of the exposed; c, d of the others. */
export type TwoByTwo = readonly [a: number, b: number, c: number, d: number];

/** A common odds ratio over strata. */
export interface CommonOddsRatio {
  /** Mantel-Haenszel estimate; infinite or NaN where the strata cannot give it. */
  readonly oddsRatio: number;
  readonly interval: Interval;
  /** Standard error of the logarithm (Robins, Breslow & Greenland 1986, Biometrics 42, 311). */
  readonly logStandardError: number;
  /** Cochran-Mantel-Haenszel statistic without continuity correction, one degree of freedom. */
  readonly chiSquare: number;
  readonly p: number;
  /** The same with the correction of one half. */
  readonly chiSquareCorrected: number;
  readonly pCorrected: number;
  /** Strata in which both groups and both outcomes occur; the others say nothing. */
  readonly informativeStrata: number;
}

/**
 * Cochran-Mantel-Haenszel test and Mantel-Haenszel odds ratio with the Robins-Breslow-Greenland interval (Mantel &
 * Haenszel 1959, J. Natl. Cancer Inst. 22, 719).
 * @returns NaN throughout when no stratum is informative
 */
export function mantelHaenszel(strata: readonly TwoByTwo[], level = 0.95): CommonOddsRatio {
  let [r, s, pr, psqr, qs, difference, variance, informativeStrata] = [0, 0, 0, 0, 0, 0, 0, 0];
  for (const [a, b, c, d] of strata) {
    const n = a + b + c + d;
    const margins = (a + b) * (c + d) * (a + c) * (b + d);
    if (!(margins > 0)) continue;
    informativeStrata++;
    const [ri, si, p, q] = [(a * d) / n, (b * c) / n, (a + d) / n, (b + c) / n];
    r += ri;
    s += si;
    pr += p * ri;
    psqr += p * si + q * ri;
    qs += q * si;
    difference += a - ((a + b) * (a + c)) / n;
    variance += margins / (n * n * (n - 1));
  }
  const oddsRatio = r / s;
  const logStandardError = Math.sqrt(pr / (2 * r * r) + psqr / (2 * r * s) + qs / (2 * s * s));
  const reach = Math.exp(normalQuantile(0.5 + level / 2) * logStandardError);
  const chiSquare = difference ** 2 / variance;
  const chiSquareCorrected = Math.max(0, Math.abs(difference) - 0.5) ** 2 / variance;
  return {
    oddsRatio,
    interval: { low: oddsRatio / reach, high: oddsRatio * reach },
    logStandardError,
    chiSquare,
    p: chiSquareTail(chiSquare, 1),
    chiSquareCorrected,
    pCorrected: chiSquareTail(chiSquareCorrected, 1),
    informativeStrata,
  };
}
