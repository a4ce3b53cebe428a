import { quantileSorted, sortedFinite } from "./quantiles.js";

/** A sample described by two normal distributions, the lower one first. */
export interface TwoNormals {
  readonly shares: readonly [number, number];
  readonly means: readonly [number, number];
  readonly sigmas: readonly [number, number];
  readonly logLikelihood: number;
  /** BIC of two less BIC of one: below -10 the sample has two parts, above 0 one is the better description. */
  readonly bicDifference: number;
}

/**
 * Mixture of two normal distributions by expectation-maximisation (Dempster, Laird & Rubin 1977), from three starts.
 * Split a night by it only where `bicDifference` is below -10: it finds two parts in anything.
 * @param values - missing ones do not count
 * @returns null with fewer than 10 values, or values that do not vary
 */
export function twoNormals(values: ArrayLike<number>): TwoNormals | null {
  const x = sortedFinite(values);
  const n = x.length;
  if (n < 10 || !(x[n - 1] > x[0])) return null;
  let mean = 0;
  for (const v of x) mean += v / n;
  let variance = 0;
  for (const v of x) variance += (v - mean) ** 2 / n;
  // A floor keeps one part from closing in on a single value, where the likelihood has no bound.
  const floor = variance * 1e-4;
  let best: Parts | null = null;
  for (const cut of [0.2, 0.5, 0.8]) {
    const parts = maximise(x, quantileSorted(x, cut / 2), quantileSorted(x, (1 + cut) / 2), cut, variance, floor);
    if (best === null || parts.logLikelihood > best.logLikelihood) best = parts;
  }
  if (best === null) return null;
  const one = -0.5 * n * (Math.log(2 * Math.PI * variance) + 1);
  const bicDifference = -2 * best.logLikelihood + 5 * Math.log(n) - (-2 * one + 2 * Math.log(n));
  const swap = best.mu[0] > best.mu[1];
  const pair = ([a, b]: Pair): Pair => (swap ? [b, a] : [a, b]);
  return {
    shares: pair([best.share, 1 - best.share]),
    means: pair(best.mu),
    sigmas: pair([Math.sqrt(best.variance[0]), Math.sqrt(best.variance[1])]),
    logLikelihood: best.logLikelihood,
    bicDifference,
  };
}

/** Probability that a value belongs to the lower part. */
export function lowerPartProbability({ shares, means, sigmas }: TwoNormals, value: number): number {
  const logOf = (i: 0 | 1) => Math.log(shares[i] / sigmas[i]) - 0.5 * ((value - means[i]) / sigmas[i]) ** 2;
  return 1 / (1 + Math.exp(logOf(1) - logOf(0)));
}

type Pair = readonly [number, number];
interface Parts {
  readonly share: number;
  readonly mu: Pair;
  readonly variance: Pair;
  readonly logLikelihood: number;
}

function maximise(x: Float64Array, low: number, high: number, cut: number, all: number, floor: number): Parts {
  let [share, m0, m1, v0, v1] = [cut, low, high, all / 4, all / 4];
  let last = Number.NEGATIVE_INFINITY;
  for (let iteration = 0; ; iteration++) {
    let [logLikelihood, r0, rx, rxx, sx, sxx] = [0, 0, 0, 0, 0, 0];
    for (const v of x) {
      const a = (share * Math.exp((-0.5 * (v - m0) ** 2) / v0)) / Math.sqrt(v0);
      const b = ((1 - share) * Math.exp((-0.5 * (v - m1) ** 2) / v1)) / Math.sqrt(v1);
      const sum = a + b;
      // Where both densities underflow the value goes to the nearer part.
      const r = sum > 0 ? a / sum : Math.abs(v - m0) < Math.abs(v - m1) ? 1 : 0;
      logLikelihood += Math.log(Math.max(sum, 1e-300)) - 0.5 * Math.log(2 * Math.PI);
      r0 += r;
      rx += r * v;
      rxx += r * (v - m0) ** 2;
      sx += (1 - r) * v;
      sxx += (1 - r) * (v - m1) ** 2;
    }
    const done = Math.abs(logLikelihood - last) < 1e-14 * Math.abs(logLikelihood) || iteration > 5000;
    if (done || !(r0 > 1e-9) || !(x.length - r0 > 1e-9))
      return { share, mu: [m0, m1], variance: [v0, v1], logLikelihood };
    last = logLikelihood;
    const [n0, n1] = [r0, x.length - r0];
    const [next0, next1] = [rx / n0, sx / n1];
    v0 = Math.max(floor, rxx / n0 - (next0 - m0) ** 2);
    v1 = Math.max(floor, sxx / n1 - (next1 - m1) ** 2);
    [m0, m1, share] = [next0, next1, n0 / x.length];
  }
}
