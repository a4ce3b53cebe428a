import { CallError } from "../terms/errors.js";
import { betaQuantileLogit, betaTails } from "./beta.js";
import { gammaQuantile, gammaTails } from "./gamma.js";

// Tail probabilities and quantiles of the usual test statistics, through the incomplete gamma and beta functions
// (Abramowitz & Stegun 1964, 26.4.19, 26.5.27, 26.6.2). Relative accuracy about 1e-12, far into the tails as well.

/** Probability that a standard normal variable exceeds z. */
export function normalTail(z: number): number {
  const half = gammaTails(0.5, 0.5 * z * z).upper / 2;
  return z >= 0 ? half : 1 - half;
}

/** Probability that a standard normal variable lies further from 0 than z does. */
export const normalTwoSided = (z: number): number => gammaTails(0.5, 0.5 * z * z).upper;

/**
 * The z below which a standard normal variable lies with probability p.
 * @throws CallError when p is outside 0 to 1
 */
export function normalQuantile(p: number): number {
  if (!(p >= 0 && p <= 1)) throw new CallError(`A normal quantile needs p within 0 to 1, not ${p}`);
  if (p === 0.5) return 0;
  const z = Math.sqrt(2 * gammaQuantile(2 * Math.min(p, 1 - p), 0.5, "upper"));
  return p < 0.5 ? -z : z;
}

/** Probability that a chi-square variable exceeds x. */
export const chiSquareTail = (x: number, degreesOfFreedom: number): number =>
  x <= 0 ? 1 : gammaTails(degreesOfFreedom / 2, x / 2).upper;

/** The x below which a chi-square variable lies with probability p. */
export const chiSquareQuantile = (p: number, degreesOfFreedom: number): number =>
  2 * gammaQuantile(p, degreesOfFreedom / 2);

/** Probability that Student's t lies further from 0 than t does. */
export function tTwoSided(t: number, degreesOfFreedom: number): number {
  const t2 = t * t;
  if (t2 === Number.POSITIVE_INFINITY) return 0;
  const sum = degreesOfFreedom + t2;
  return betaTails(degreesOfFreedom / 2, 0.5, degreesOfFreedom / sum, t2 / sum).lower;
}

/**
 * The t beyond which, on both sides together, Student's t lies with probability p.
 * @param p - 0 to 1, ends excluded: 0.1 for a 90 % interval
 */
export const tQuantileTwoSided = (p: number, degreesOfFreedom: number): number =>
  // t^2 / df is the odds of a beta variable.
  Math.sqrt(degreesOfFreedom * Math.exp(-betaQuantileLogit(p, degreesOfFreedom / 2, 0.5)));

/** Probability that an F variable exceeds x. */
export function fTail(x: number, numeratorDf: number, denominatorDf: number): number {
  if (x <= 0) return 1;
  const sum = denominatorDf + numeratorDf * x;
  return betaTails(denominatorDf / 2, numeratorDf / 2, denominatorDf / sum, (numeratorDf * x) / sum).lower;
}
