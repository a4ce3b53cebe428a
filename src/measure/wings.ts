import { median } from "../numbers/quantiles.js";
import { medianAndSigma } from "../numbers/robust.js";

/** A star's light within half of the usual aperture and in the ring from there to its edge, divided by its flux. */
export interface TwoApertures {
  readonly inner: number;
  /** NaN: too much of others' light is in it. */
  readonly ring: number;
  /** Relative error of the flux. */
  readonly error: number;
}

/** How a frame's stars are summed up: all light is (inner + part x ring) / share. */
export interface WingShares {
  readonly part: number;
  readonly share: number;
}

/** Sky noise of the inner aperture less that of the weight, and of the ring, as variances in units of the weight's. */
const innerNoise = 2.1;
const ringNoise = 9.3;
/** With fewer rings nothing is read from them. */
const fewest = 8;
/**
 * Errors of 1 / beta from Moffat fits: with many bright stars, of a single one, and what is added for each unit below the
 * wings that seeing makes, as a profile of the core's shape is then that of a disc, whose wings are not a Moffat's.
 */
const fittedError = 0.02;
const singleError = 0.12;
const unlikeMoffat = 0.4;
const wingsOfSeeing = 0.25;
/** Relative error of the flux of stars whose wings a fit sees, and of one without which beta is assumed. */
const brightError = 1 / 30;
const knownError = 1 / 100;
/** Where fits are as good as this, the rings are heard from two of the common errors on. */
const surelyFitted = 0.03;
const clearly = 2;
/** Below the first 1 / beta the rings hold noise and others' light only; from the second on they count in full. */
const [noRing, wholeRing] = [0.12, 0.24];
/** Light of unseen stars in an aperture, in errors that noise makes in it: 0.2 to 0.9 on simulated nights. */
const typicalSky = 0.45;
const usualSky = 0.4;
/** As much of the stars' scatter may be common to all. */
const commonPart = 0.3;
const fewerCommon = 8;
const rounds = 8;
const [leastX, mostX] = [0.001, 0.8];
const stepX = 0.01;

/**
 * How much light lies beyond the usual aperture of three FWHM is read from two sources: Moffat fits of single stars,
 * which see the core and little of the wings, and the light between 1.5 and 3 FWHM of all stars together. Dew puts a halo
 * around stars that fits of faint stars miss, and a little out of focus they see no wings where there are some. Stars
 * without wings (far out of focus) are summed up in the inner aperture, with less noise and fewer neighbours. The
 * constants are set on simulated nights with seeds 301 to 304.
 * @param fraction - share of a star's light within three FWHM by the Moffat fits
 */
export function wingShares(stars: readonly TwoApertures[], fraction: number): WingShares {
  const fitted = inverseBeta((x) => enclosed(x, 3), fraction);
  const ringed = stars.filter(({ ring }) => !Number.isNaN(ring));
  if (ringed.length < fewest) return { part: 0, share: enclosed(fitted, 1.5) };
  const inner = meanLight(stars.map(({ inner, error }) => ({ value: inner, error: Math.sqrt(innerNoise) * error })));
  const ring = meanLight(ringed.map(({ ring, error }) => ({ value: ring, error: Math.sqrt(ringNoise) * error })));
  const all = inner.mean + ring.mean;
  const innerShare = (x: number) => enclosed(x, 1.5) / enclosed(x, 3);
  const seen = inverseBeta(innerShare, inner.mean / all);
  const slope = Math.abs(innerShare(seen + stepX) - innerShare(seen)) / stepX;
  const seenError = Math.hypot(ring.error, (ring.mean / all) * inner.error) / all / Math.max(0.05, slope);
  const fitError = errorOfFits(stars, fitted);
  const apart2 = (seen - fitted) ** 2 / (fitError ** 2 + seenError ** 2);
  const heard = 1 - (Math.min(1, surelyFitted / fitError) * clearly) ** 2 / (apart2 + clearly ** 2);
  const x = fitted + (heard * (seen - fitted) * fitError ** 2) / (fitError ** 2 + seenError ** 2);
  const part = Math.max(0, Math.min(1, (x - noRing) / (wholeRing - noRing)));
  return { part, share: enclosed(x, 1.5) + part * (enclosed(x, 3) - enclosed(x, 1.5)) };
}

/** Error of the 1 / beta of the fits. */
function errorOfFits(stars: readonly TwoApertures[], fitted: number): number {
  const bright = stars.filter(({ error }) => error < brightError).length;
  const isKnown = stars.some(({ error }) => error < knownError);
  return Math.hypot(
    fittedError + unlikeMoffat * Math.max(0, wingsOfSeeing - fitted),
    isKnown ? singleError / Math.sqrt(Math.max(1, bright)) : singleError,
  );
}

/**
 * Light in an aperture by flux: a constant, which is looked for, and the light of unseen stars, which counts the more the
 * fainter a star is and is looked for with it. Outliers count less.
 */
function meanLight(values: readonly { readonly value: number; readonly error: number }[]): {
  readonly mean: number;
  readonly error: number;
} {
  let mean = median(values.map(({ value }) => value));
  let sky = 0;
  let own = 0.01;
  let variance = 0;
  for (let round = 0; round < rounds; round++) {
    const left = values.map(({ value, error }) => value - mean - sky * error);
    const excess = medianAndSigma(left.map((off, i) => off / Math.hypot(values[i]!.error, own))).sigma;
    if (excess > 1.05) own *= Math.min(2, excess);
    const prior = 1 / (usualSky * usualSky);
    let [weight, slope, square, sum, product] = [0, 0, prior, 0, prior * typicalSky];
    for (let i = 0; i < values.length; i++) {
      const { value, error } = values[i]!;
      const error2 = error * error + own * own;
      const off = Math.abs(left[i]!) / Math.sqrt(error2);
      const w = (off > 1.5 ? 1.5 / off : 1) / error2;
      weight += w;
      slope += w * error;
      square += w * error * error;
      sum += w * value;
      product += w * error * value;
    }
    const determinant = weight * square - slope * slope;
    variance = square / determinant;
    mean = (square * sum - slope * product) / determinant;
    sky = (weight * product - slope * sum) / determinant;
  }
  const common = (commonPart * own) / Math.sqrt(values.length / fewerCommon);
  return { mean, error: Math.sqrt(variance + common * common) };
}

/** Share of a Moffat profile's light within a radius in FWHM: 1 - (1 + k r^2)^(1 - beta), by x = 1 / beta. */
function enclosed(x: number, fwhms: number): number {
  return 1 - (1 + 4 * (2 ** x - 1) * fwhms * fwhms) ** (1 - 1 / x);
}

/** The 1 / beta at which a share, which falls with it, has a value. */
function inverseBeta(share: (x: number) => number, value: number): number {
  let [low, high] = [leastX, mostX];
  for (let step = 0; step < 40; step++) {
    const x = (low + high) / 2;
    if (share(x) > value) low = x;
    else high = x;
  }
  return low;
}
