import { median } from "../numbers/quantiles.js";
import { fluxRatio } from "./flux-ratio.js";

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
/** Two subs' own scales come from different stars, whose ratios differ by this much. */
const unlike = 0.03;
/** What the wings beyond the aperture leave uncertain, whatever the number of stars... */
const leastWings = 0.0015;
/** ... and by what noise leaves uncertain in the mean of all stars' apertures, as the rings that show wings are as noisy. */
const wingsByNoise = 0.5;
const rounds = 8;
/** With fewer stars that both subs show with an aperture's light, each sub's own scale is taken. */
const fewestCommon = 5;

/** Squared relative errors that noise makes in the ratios of stars with these fluxes and errors (of the weight). */
function noiseVariances(flux: ArrayLike<number>, error: ArrayLike<number>): Float64Array {
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
    return (skyShare * (error[i]! ** 2 - light) + lightShare * light) / (f * f);
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
  const variances = noiseVariances(flux, error).map((noise) => noise + leastError ** 2);
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
  return { scale, error: Math.sqrt(1 / weight + leastWings ** 2) };
}

/** Stars of a sub as columns. */
interface Fluxes {
  readonly fluxAdu: ArrayLike<number>;
  readonly fluxErrorAdu: ArrayLike<number>;
  readonly apertureRatio?: ArrayLike<number>;
  readonly flags: ArrayLike<number>;
}

/**
 * By what the ratio of two subs' fluxes must be multiplied to be that of all starlight. Each sub's own scale hangs on
 * which of its stars stand alone, as profiles differ across the field and unseen neighbours reach into apertures;
 * compared star by star, most of that cancels, but fewer stars speak. Both are taken, by the weight of their errors.
 * @param pairs - numbers of the common stars in the reference and in the sub
 */
export function relativeScale(
  pairs: readonly (readonly [number, number])[],
  reference: Fluxes,
  sub: Fluxes,
): FluxScale {
  const [before, after] = [ratioErrors(reference), ratioErrors(sub)];
  const ratios = pairs.flatMap(([i, j]) => {
    const [from, to] = [reference.apertureRatio?.[i] ?? Number.NaN, sub.apertureRatio?.[j] ?? Number.NaN];
    return from > 0 && to > 0 && before.of[i]! > 0 && after.of[j]! > 0
      ? [{ flux: to, error: to * after.of[j]!, before: from, beforeError: from * before.of[i]! }]
      : [];
  });
  const apart = Math.hypot(before.common, after.common);
  if (ratios.length < fewestCommon) return { scale: 1, error: apart };
  const { zeroPoint, zeroPointError } = fluxRatio(ratios);
  const together = Math.hypot(zeroPointError / zeroPoint, before.wings, after.wings);
  const share = apart ** 2 / (apart ** 2 + together ** 2);
  // Both come partly from the same light. By the starlight of simulated nights, seeds 301 to 316, and of simulated pairs,
  // they are correlated by a quarter.
  const [one, other] = [share * together, (1 - share) * apart];
  return { scale: zeroPoint ** share, error: Math.sqrt(one * one + one * other * 0.5 + other * other) };
}

/** Relative errors of a sub's aperture ratios (NaN: not measured), of what is beyond them, and of the mean of all. */
function ratioErrors({ fluxAdu, fluxErrorAdu, apertureRatio, flags }: Fluxes): {
  readonly of: Float64Array;
  readonly wings: number;
  readonly common: number;
} {
  const made = Array.from({ length: fluxAdu.length }, (_, i) => i).filter(
    (i) =>
      (apertureRatio === undefined ? flags[i] === 0 : apertureRatio[i]! > 0) &&
      fluxAdu[i]! > leastSnrForGrowth * fluxErrorAdu[i]!,
  );
  const variances = noiseVariances(
    made.map((i) => fluxAdu[i]!),
    made.map((i) => fluxErrorAdu[i]!),
  );
  const of = new Float64Array(fluxAdu.length).fill(Number.NaN);
  made.forEach((i, k) => {
    of[i] = Math.sqrt(variances[k]!);
  });
  const weight = variances.reduce((sum, noise) => sum + 1 / (noise + unlike ** 2), 0);
  const light = variances.reduce((sum, noise) => sum + 1 / noise, 0);
  const wings = Math.hypot(leastWings, wingsByNoise / Math.sqrt(light));
  return { of, wings, common: weight > 0 ? Math.sqrt(1 / weight + wings ** 2) : Number.NaN };
}
