import { CallError } from "../terms/errors.js";

/** Level and noise of two frames taken alike; what both have in common (fixed pattern, vignetting) is not in the noise. */
export interface PairNoise {
  /** Mean of the first frame without hot pixels, ADU. */
  readonly levelAdu: number;
  /** Mean of the second over that of the first, `pedestalAdu` taken off. */
  readonly ratio: number;
  /** Random noise of a pixel of the first frame, ADU, and its standard error. */
  readonly noiseAdu: number;
  readonly noiseErrorAdu: number;
  /** Pixels used. */
  readonly pixels: number;
  /** Part of the pixels at the highest value there is; above some thousandths the noise is too small. */
  readonly atMost: number;
}

/** Differences beyond so many standard deviations are hot pixels and particle hits. */
const clip = 5;

/**
 * Noise of a pixel from two bias, dark or flat frames of the same setting: the standard deviation of their difference,
 * over sqrt 2. The second frame is scaled to the light of the first, so that a lamp or a sky that changed does not count.
 * @param a - pixels of one frame, ADU
 * @param b - pixels of the other, as many
 * @param pedestalAdu - level of a bias frame, for flats; left out for bias and dark frames: not scaled
 * @throws CallError when the frames differ in size or have fewer than 100 pixels
 * @example
 * ```ts
 * import { pairNoise } from "nightyield";
 * // Two made-up bias frames of 10 x 10 pixels.
 * const first = Array.from({ length: 100 }, (_, i) => 400 + (i % 3));
 * const second = Array.from({ length: 100 }, (_, i) => 400 + (i % 4));
 * const { levelAdu, noiseAdu, noiseErrorAdu } = pairNoise(first, second);
 * console.log(levelAdu, "ADU, noise", noiseAdu, "+-", noiseErrorAdu);
 * ```
 */
export function pairNoise(a: ArrayLike<number>, b: ArrayLike<number>, pedestalAdu?: number): PairNoise {
  const n = a.length;
  if (b.length !== n || n < 100)
    throw new CallError(`Two frames of one size with 100 pixels and more are needed, not ${n} and ${b.length} pixels`);
  const [first, second] = [clipped(a).mean, clipped(b).mean];
  const base = pedestalAdu ?? 0;
  const ratio = pedestalAdu === undefined ? 1 : (second - base) / (first - base);
  const differences = new Float64Array(n);
  let highest = Number.NEGATIVE_INFINITY;
  for (let i = 0; i < n; i++) {
    differences[i] = a[i]! - base - (b[i]! - base) / ratio;
    if (a[i]! > highest) highest = a[i]!;
  }
  let atMost = 0;
  for (let i = 0; i < n; i++) if (a[i] === highest) atMost++;
  const { variance, used } = clipped(differences);
  // Shot noise of the second, scaled: its variance is 1/ratio of the first's. For bias and dark frames both are alike.
  const noiseAdu = Math.sqrt(variance / (1 + 1 / ratio));
  return {
    levelAdu: first,
    ratio,
    noiseAdu,
    noiseErrorAdu: noiseAdu / Math.sqrt(2 * used),
    pixels: used,
    atMost: atMost / n,
  };
}

/** Values looked at for the first guess of middle and width; every odd one, so that all colours of a mosaic are among them. */
const guessedFrom = 20_000;

/** Mean and variance without values beyond five standard deviations; of a normal sample none are lost. */
function clipped(values: ArrayLike<number>): { mean: number; variance: number; used: number } {
  const every = Math.floor(values.length / guessedFrom) | 1;
  const some: number[] = [];
  for (let i = 0; i < values.length; i += every) if (!Number.isNaN(values[i]!)) some.push(values[i]!);
  const order = Float64Array.from(some).sort();
  const at = (p: number) => order[Math.min(order.length - 1, Math.floor(p * order.length))]!;
  // Whole ADU make the quantiles coarse: half a step more than they say.
  let [mean, sigma] = [at(0.5), (at(0.8413) - at(0.1587)) / 2 + 0.5];
  let used = values.length;
  for (let round = 0; round < 4; round++) {
    let [sum, squares, count] = [0, 0, 0];
    for (let i = 0; i < values.length; i++) {
      const off = values[i]! - mean;
      // Pixels without a value count as little as hot ones.
      if (!(Math.abs(off) <= clip * sigma)) continue;
      sum += off;
      squares += off * off;
      count++;
    }
    used = count;
    const middle = sum / count;
    sigma = Math.sqrt((squares - count * middle * middle) / (count - 1));
    mean += middle;
  }
  return { mean, variance: sigma * sigma, used };
}
