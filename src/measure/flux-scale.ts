import { median } from "../numbers/quantiles.js";

/**
 * A frame's fluxes come from a Gaussian weight, and a common scale brings them to all of the starlight: the mean ratio
 * of light in wide apertures to light under the weight. An error of that scale shifts all stars of the frame together,
 * so no number of stars averages it out of a comparison between subs.
 */
export interface FluxScale {
  readonly scale: number;
  /** Relative standard error. */
  readonly error: number;
}

/** Stars with less signal to noise have no growth curve. */
export const leastSnrForGrowth = 12;
/** Sky noise of the aperture (radius three FWHM: pi 9 FWHM^2) less that of the weight (2.27 FWHM^2), as variances. */
const skyShare = 11.5;
/** The same for the starlight's own noise, which both mostly share. */
const lightShare = 0.3;
/** Profiles differ across a field, and neighbours reach into apertures: no single ratio is better than this. */
const leastError = 0.01;
/** What the wings beyond the aperture leave uncertain, whatever the number of stars. */
const wings = 0.002;
const rounds = 8;

/** Squared relative errors of the ratios of stars with these fluxes and errors (of the weight). */
function ratioVariances(flux: ArrayLike<number>, error: ArrayLike<number>): Float64Array {
  // The weight's variance is sky + gain x flux; faint and bright stars tell the two apart.
  const order = Array.from(flux, (_, i) => i).sort((a, b) => flux[a]! - flux[b]!);
  const third = Math.max(1, Math.floor(order.length / 3));
  const [faint, bright] = [order.slice(0, third), order.slice(-third)];
  const mid = (list: readonly number[], value: (i: number) => number) => median(list.map(value));
  const rise =
    (mid(bright, (i) => error[i]! ** 2) - mid(faint, (i) => error[i]! ** 2)) /
    (mid(bright, (i) => flux[i]!) - mid(faint, (i) => flux[i]!));
  const perFlux = Number.isFinite(rise) ? Math.max(0, rise) : 0;
  return Float64Array.from(flux, (f, i) => {
    const light = Math.min(perFlux * f, error[i]! ** 2);
    return (skyShare * (error[i]! ** 2 - light) + lightShare * light) / (f * f) + leastError ** 2;
  });
}

/**
 * The common scale from single stars' ratios, outliers counting less (Huber's weights).
 * @param ratios - light in the aperture, and what lies beyond, divided by `flux`
 */
export function fluxScale(
  ratios: ArrayLike<number>,
  flux: ArrayLike<number>,
  error: ArrayLike<number>,
): FluxScale | null {
  if (ratios.length === 0) return null;
  const variances = ratioVariances(flux, error);
  let scale = median(ratios);
  let weight = 0;
  for (let round = 0; round < rounds; round++) {
    let sum = 0;
    weight = 0;
    for (let i = 0; i < ratios.length; i++) {
      const off = Math.abs(ratios[i]! / scale - 1) / Math.sqrt(variances[i]!);
      const w = (off > 1.5 ? 1.5 / off : 1) / variances[i]!;
      sum += w * ratios[i]!;
      weight += w;
    }
    scale = sum / weight;
  }
  return { scale, error: Math.sqrt(1 / weight + wings ** 2) };
}

/** The error that the scale of a list of fluxes has, from the fluxes of the stars that made it. */
export function fluxScaleError(flux: ArrayLike<number>, error: ArrayLike<number>): number {
  const weight = ratioVariances(flux, error).reduce((sum, v) => sum + 1 / v, 0);
  return weight > 0 ? Math.sqrt(1 / weight + wings ** 2) : Number.NaN;
}
