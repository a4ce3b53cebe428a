import { CallError } from "../terms/errors.js";
import { findRoot } from "./find-root.js";
import { logGamma, logRatio } from "./gamma.js";

/** Natural logarithm of the beta function of two positive numbers. */
export const logBeta = (a: number, b: number): number => logGamma(a) + logGamma(b) - logGamma(a + b);

/**
 * Probability that a beta variable lies below `x`, and above: the regularised incomplete beta function by Lentz's
 * continued fraction (Abramowitz & Stegun 1964, 26.5.8).
 * @param a - positive
 * @param b - positive
 * @param x - 0 to 1
 * @param complement - 1 - x, where the caller knows it better than the subtraction gives it
 */
export function betaTails(a: number, b: number, x: number, complement = 1 - x): { lower: number; upper: number } {
  if (!(a > 0) || !(b > 0) || !(x >= 0 && x <= 1)) return { lower: Number.NaN, upper: Number.NaN };
  if (x === 0) return { lower: 0, upper: 1 };
  if (complement === 0) return { lower: 1, upper: 0 };
  const front = Math.exp(a * Math.log(x) + b * Math.log(complement) - logBeta(a, b));
  if (x < (a + 1) / (a + b + 2)) {
    const lower = Math.min(1, (front * fraction(a, b, x)) / a);
    return { lower, upper: 1 - lower };
  }
  const upper = Math.min(1, (front * fraction(b, a, complement)) / b);
  return { lower: 1 - upper, upper };
}

function fraction(a: number, b: number, x: number): number {
  let c = 1;
  let d = 1 / (1 - ((a + b) * x) / (a + 1) || 1e-300);
  let h = d;
  for (let m = 1; m < 100_000; m++) {
    const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
    d = 1 / (1 + even * d || 1e-300);
    c = 1 + even / c || 1e-300;
    h *= d * c;
    const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
    d = 1 / (1 + odd * d || 1e-300);
    c = 1 + odd / c || 1e-300;
    h *= d * c;
    if (Math.abs(d * c - 1) < 1e-16) break;
  }
  return h;
}

/**
 * The x below which a beta variable lies with probability p.
 * @throws CallError when p is outside 0 to 1, or a or b is not positive
 */
export function betaQuantile(p: number, a: number, b: number): number {
  if (p === 0 || p === 1) return p;
  return 1 / (1 + Math.exp(-betaQuantileLogit(p, a, b)));
}

/** The same as ln(x / (1 - x)), which keeps its digits at both ends; `p` strictly inside 0 to 1. */
export function betaQuantileLogit(p: number, a: number, b: number): number {
  if (!(p > 0 && p < 1) || !(a > 0) || !(b > 0))
    throw new CallError(`A beta quantile needs p within 0 to 1 and positive a and b, not ${p}, ${a} and ${b}`);
  const miss = (t: number) => {
    const { lower, upper } = betaTails(a, b, 1 / (1 + Math.exp(-t)), 1 / (1 + Math.exp(t)));
    return p < 0.5 ? logRatio(lower, p) : logRatio(1 - p, upper);
  };
  return findRoot(miss, -700, 700, 1e-14);
}
