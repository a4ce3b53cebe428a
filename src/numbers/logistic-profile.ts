import { CallError } from "../terms/errors.js";
import { findRoot } from "./find-root.js";
import { type LogisticData, type LogisticFit, type LogisticOptions, logisticRegression } from "./logistic.js";
import type { Interval } from "./proportion-intervals.js";
import { chiSquareQuantile, chiSquareTail } from "./tails.js";

/** One coefficient's profile. */
export interface ProfiledCoefficient {
  readonly estimate: number;
  readonly interval: Interval;
  /** Twice the drop of the (penalised) log-likelihood when the coefficient is 0, divided by `inflation`. */
  readonly chiSquare: number;
  readonly p: number;
}

export interface ProfileOptions extends Pick<LogisticOptions, "penalty"> {
  /** 0.95 for a 95 % interval. */
  readonly level?: number;
  /** How many times wider the variance is than with independent rows; 1 when left out. */
  readonly inflation?: number;
}

/**
 * Profile (penalised) likelihood interval and likelihood-ratio test of one coefficient (Heinze & Schemper 2002): the
 * values that lower the maximum by less than half the chi-square quantile. With few events it is skewed, as it should be;
 * a Wald interval would not be.
 * @param index - 0 for the intercept, 1 for the first column
 * @returns an infinite end where the likelihood never falls that far (separated data without penalty)
 */
export function profileCoefficient(
  data: LogisticData,
  fit: LogisticFit,
  index: number,
  { penalty = "firth", level = 0.95, inflation = 1 }: ProfileOptions = {},
): ProfiledCoefficient {
  const estimate = fit.coefficients[index];
  const drop = (value: number): number => {
    // Started from the best fit each time, so that the answer does not depend on the order of the calls; where that makes
    // every probability 0 or 1, from the value alone, and where that does as well, the likelihood has fallen for good.
    for (const others of [fit.coefficients, new Float64Array(fit.coefficients.length)]) {
      const start = Float64Array.from(others);
      start[index] = value;
      try {
        const held = logisticRegression(data, { penalty, fixed: [index], start });
        return Math.max(0, (2 * (fit.logLikelihood - held.logLikelihood)) / inflation);
      } catch (error) {
        if (!(error instanceof CallError)) throw error;
      }
    }
    return 1e6;
  };
  const limit = chiSquareQuantile(level, 1);
  const end = (side: -1 | 1): number => {
    const se = fit.standardErrors[index] * Math.sqrt(inflation);
    let near = estimate;
    for (let reach = 1; reach < 300; reach *= 1.4) {
      const far = estimate + side * reach * se;
      if (drop(far) > limit) return findRoot((value) => drop(value) - limit, near, far, 1e-8 * (1 + Math.abs(far)));
      near = far;
    }
    return side * Number.POSITIVE_INFINITY;
  };
  const chiSquare = drop(0);
  return { estimate, interval: { low: end(-1), high: end(1) }, chiSquare, p: chiSquareTail(chiSquare, 1) };
}
