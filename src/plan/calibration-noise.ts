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

/** A value with its standard error. */
export interface WithError {
  readonly value: number;
  readonly error: number;
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
 */
export function pairNoise(a: ArrayLike<number>, b: ArrayLike<number>, pedestalAdu?: number): PairNoise {
  const n = a.length;
  if (b.length !== n || n < 100)
    throw new CallError(`Two frames of one size with 100 pixels and more are needed, not ${n} and ${b.length} pixels`);
  const [first, second] = [clipped(Float64Array.from(a)).mean, clipped(Float64Array.from(b)).mean];
  const base = pedestalAdu ?? 0;
  const ratio = pedestalAdu === undefined ? 1 : (second - base) / (first - base);
  const differences = new Float64Array(n);
  let highest = Number.NEGATIVE_INFINITY;
  for (let i = 0; i < n; i++) {
    differences[i] = a[i] - base - (b[i] - base) / ratio;
    if (a[i] > highest) highest = a[i];
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

/**
 * e-/ADU by photon transfer: the light of flat frames over the variance that it adds, (F - B) / (s_F^2 - s_B^2)
 * (Janesick 2001, Scientific Charge-Coupled Devices, chapter 2, from memory; the algebra is Poisson's).
 * @returns null when the flats are at the converter's limit (more than 0.2 % of the pixels at one highest value), or add
 * no variance
 */
export function gainByFlats(
  flat: Pick<PairNoise, "levelAdu" | "noiseAdu" | "noiseErrorAdu"> & { readonly atMost?: number },
  bias: Pick<PairNoise, "levelAdu" | "noiseAdu" | "noiseErrorAdu">,
): WithError | null {
  const light = flat.levelAdu - bias.levelAdu;
  const added = flat.noiseAdu ** 2 - bias.noiseAdu ** 2;
  if (!(light > 0 && added > 0) || (flat.atMost ?? 0) > 0.002) return null;
  const value = light / added;
  const error =
    (value * Math.hypot(2 * flat.noiseAdu * flat.noiseErrorAdu, 2 * bias.noiseAdu * bias.noiseErrorAdu)) / added;
  return { value, error };
}

/** Read noise in electrons, with the errors of both. */
export function readNoiseInElectrons(
  bias: Pick<PairNoise, "noiseAdu" | "noiseErrorAdu">,
  { value, error }: WithError,
): WithError {
  const electrons = bias.noiseAdu * value;
  return { value: electrons, error: electrons * Math.hypot(bias.noiseErrorAdu / bias.noiseAdu, error / value) };
}

/** Mean and variance without values beyond five standard deviations; of a normal sample none are lost. */
function clipped(values: Float64Array): { mean: number; variance: number; used: number } {
  const order = Float64Array.from(values).sort();
  const at = (p: number) => order[Math.min(order.length - 1, Math.floor(p * order.length))];
  // Whole ADU make the quantiles coarse: half a step more than they say.
  let [mean, sigma] = [at(0.5), (at(0.8413) - at(0.1587)) / 2 + 0.5];
  let used = values.length;
  for (let round = 0; round < 4; round++) {
    let [sum, squares, count] = [0, 0, 0];
    for (const value of values) {
      const off = value - mean;
      if (Math.abs(off) > clip * sigma) continue;
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
