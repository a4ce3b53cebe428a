import type { Random } from "./random.js";

/**
 * A gamma number of scale 1 (Marsaglia & Tsang 2000, ACM Trans. Math. Softw. 26, 363).
 * @param shape - above 0
 */
export function randomGamma(random: Random, shape: number): number {
  // Below shape 1: one shape higher, times u^(1 / shape).
  if (shape < 1) return randomGamma(random, shape + 1) * random.uniform() ** (1 / shape);
  const d = shape - 1 / 3;
  const c = 1 / Math.sqrt(9 * d);
  for (;;) {
    const x = random.normal();
    const v = (1 + c * x) ** 3;
    if (v > 0 && Math.log(random.uniform()) < 0.5 * x * x + d - d * v + d * Math.log(v)) return d * v;
  }
}

/** A beta number: the share of one gamma number in two. */
export function randomBeta(random: Random, a: number, b: number): number {
  const x = randomGamma(random, a);
  const y = randomGamma(random, b);
  return x + y > 0 ? x / (x + y) : a / (a + b);
}

/** How many of n trials succeed: one by one up to 60 trials, above by the normal approximation, kept within 0 to n. */
export function randomBinomial(random: Random, n: number, p: number): number {
  if (n <= 60 || n * p * (1 - p) < 9) {
    let count = 0;
    for (let i = 0; i < n; i++) if (random.uniform() < p) count++;
    return count;
  }
  const count = Math.round(n * p + Math.sqrt(n * p * (1 - p)) * random.normal());
  return Math.min(n, Math.max(0, count));
}
