import { CallError } from "../terms/errors.js";
import { findRoot } from "./find-root.js";

/**
 * Natural logarithm of the gamma function for positive numbers, to about 1e-15 of the larger of 1 and the result:
 * Stirling's series above 10 (Abramowitz & Stegun 1964, 6.1.41), the recurrence below.
 */
export function logGamma(x: number): number {
  if (!(x > 0)) return Number.NaN;
  let product = 1;
  let z = x;
  while (z < 10) product *= z++;
  const s = 1 / (z * z);
  const series =
    (1 / 12 - s * (1 / 360 - s * (1 / 1260 - s * (1 / 1680 - s * (1 / 1188 - s * (691 / 360360 - s / 156)))))) / z;
  return (z - 0.5) * Math.log(z) - z + 0.5 * Math.log(2 * Math.PI) + series - Math.log(product);
}

/**
 * Regularised incomplete gamma function, both tails: `lower` is the probability that a gamma variable of that shape and
 * scale 1 lies below x, `upper` above. Series below shape + 1, Lentz's continued fraction above (Abramowitz & Stegun
 * 1964, 6.5.29 and 6.5.31).
 * @param shape - positive
 * @param x - 0 or more
 */
export function gammaTails(shape: number, x: number): { lower: number; upper: number } {
  if (!(shape > 0) || !(x >= 0)) return { lower: Number.NaN, upper: Number.NaN };
  if (x === 0) return { lower: 0, upper: 1 };
  if (x === Number.POSITIVE_INFINITY) return { lower: 1, upper: 0 };
  const front = Math.exp(shape * Math.log(x) - x - logGamma(shape));
  if (x < shape + 1) {
    let term = 1 / shape;
    let sum = term;
    for (let n = 1; n < 100_000 && term > sum * 1e-17; n++) {
      term *= x / (shape + n);
      sum += term;
    }
    const lower = Math.min(1, front * sum);
    return { lower, upper: 1 - lower };
  }
  let b = x + 1 - shape;
  let c = 1e300;
  let d = 1 / b;
  let h = d;
  for (let i = 1; i < 100_000; i++) {
    const a = -i * (i - shape);
    b += 2;
    d = 1 / (a * d + b || 1e-300);
    c = b + a / c || 1e-300;
    h *= d * c;
    if (Math.abs(d * c - 1) < 1e-16) break;
  }
  const upper = Math.min(1, front * h);
  return { lower: 1 - upper, upper };
}

/**
 * The x below which (or, for the upper tail, above which) a gamma variable of that shape and scale 1 lies with
 * probability p.
 * @throws CallError when p is outside 0 to 1 or the shape is not positive
 */
export function gammaQuantile(p: number, shape: number, tail: "lower" | "upper" = "lower"): number {
  if (!(p >= 0 && p <= 1) || !(shape > 0))
    throw new CallError(`A gamma quantile needs p within 0 to 1 and a positive shape, not ${p} and ${shape}`);
  if (p === 0 || p === 1) return (p === 0) === (tail === "lower") ? 0 : Number.POSITIVE_INFINITY;
  const [below, above] = tail === "lower" ? [p, 1 - p] : [1 - p, p];
  // In the logarithm of x, and on the smaller tail, small quantiles keep their digits.
  const miss = (t: number) => {
    const { lower, upper } = gammaTails(shape, Math.exp(t));
    return below < above ? logRatio(lower, below) : logRatio(above, upper);
  };
  return Math.exp(findRoot(miss, -700, Math.log(shape + 800 + 60 * Math.sqrt(shape)) + 1, 1e-14));
}

/** ln(a / b) with a floor, so that a root of it is well placed however small the tail. */
export const logRatio = (a: number, b: number): number => Math.log(Math.max(a, 1e-310)) - Math.log(Math.max(b, 1e-310));
