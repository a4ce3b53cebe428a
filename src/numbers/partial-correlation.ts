import { leastSquares } from "./least-squares.js";
import { correlation, ranks } from "./rank.js";
import { tTwoSided } from "./tails.js";

/** A correlation with a test of 0. */
export interface TestedCorrelation {
  readonly r: number;
  /** Two-sided, by Student's t with n - 2 - (number held) degrees of freedom. */
  readonly p: number;
  readonly n: number;
}

/**
 * Pearson's correlation of x and y after both are freed of the held columns by linear regression.
 * @param effectiveN - number of independent rows where it is less than the number of rows (see `effectiveNumber`)
 */
export function partialCorrelation(
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  held: readonly ArrayLike<number>[],
  effectiveN = x.length,
): TestedCorrelation {
  const free = (v: ArrayLike<number>) => (held.length === 0 ? v : leastSquares(held, v).residuals);
  const r = correlation(free(x), free(y));
  const degreesOfFreedom = effectiveN - 2 - held.length;
  const t = r * Math.sqrt(degreesOfFreedom / (1 - r * r));
  return { r, p: degreesOfFreedom > 0 ? tTwoSided(t, degreesOfFreedom) : Number.NaN, n: x.length };
}

/** The same on ranks: Spearman's partial correlation, for relations that rise or fall without being straight. */
export const partialSpearman = (
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  held: readonly ArrayLike<number>[],
  effectiveN = x.length,
): TestedCorrelation => partialCorrelation(ranks(x), ranks(y), held.map(ranks), effectiveN);
