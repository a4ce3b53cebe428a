import { median, quantile } from "../numbers/quantiles.js";
import { mostBrightStars } from "./bright-stars.js";
import { fluxScale, leastSnrForGrowth } from "./flux-scale.js";
import { foreignLight } from "./foreign-light.js";
import { type Growth, growthCurve } from "./growth-curve.js";
import { cutStamp, mostStampRadius, type Source, type Stamp } from "./stamp.js";
import { axesOf, inRowOrder, type Star, starFlags } from "./star.js";
import type { StarGrid } from "./star-grid.js";
import { tightRatios } from "./tight-aperture.js";
import { type TwoApertures, wingShares } from "./wings.js";

/** With fewer stars that stand alone in wide apertures, smaller ones around all stars tell more. */
const enoughAlone = 12;
/** The aperture is three FWHM where it is larger than this, pixels of the level. */
const smallestOuter = 5;
/** Light within circles is known for stars that are rounder than this (longer by shorter axis). */
const mostDrawnOut = 1.4;
/** A Gaussian has 2.355, profiles with wings less (Moffat with beta 3: 2.0), discs up to 2.9. */
const flatterThanGaussian = 2.45;
const almostAll = 1 - 1e-9;

/** Variance of a star's light. */
export interface Light {
  /** Variance that each unit of starlight adds (1 / gain). */
  readonly perValue: number;
  /** Covariance of the typical star. */
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
}

/** Marks stars that a neighbour's light reaches: within `reach`, with more than 3 % of the star's own light. */
export function markCrowded(stars: readonly Star[], grid: StarGrid, reach: number): void {
  const fluxes = new Float64Array(stars.length);
  for (let i = 0; i < fluxes.length; i++) fluxes[i] = stars[i]!.flux;
  for (let i = 0; i < fluxes.length; i++)
    if (grid.hasRival(i, reach, fluxes, 0.03)) stars[i]!.flags |= starFlags.crowded;
}

/**
 * Half-flux radii from growth curves, and with them what is missing from the fluxes of the Gaussian weight, which is
 * then put on all stars. Round stars are summed up within half of the outermost radius and in the ring beyond, so that
 * their wings are looked at and not only guessed from their cores ({@link wingShares}).
 * @param image - pixels to use; `side` of them are a side of a pixel of the level, so that wide stars are not blurred
 * @param outer - outermost radius, pixels of the level
 * @param fraction - share of a star's light within it
 */
export function measureGrowth(
  stars: readonly Star[],
  image: { readonly source: Source; readonly side: number },
  outer: number,
  fraction: number,
  stamp: Stamp,
): void {
  const { source, side } = image;
  const growth: Growth = { hfr: Number.NaN, flux: Number.NaN };
  const radius = Math.min(mostStampRadius, Math.ceil(outer * side) + 1);
  const within = Math.min(outer * side, radius - 1);
  const used: { ratio: number; flux: number; error: number }[] = [];
  const half: Growth = { hfr: Number.NaN, flux: Number.NaN };
  const doubled: (TwoApertures & { readonly star: Star })[] = [];
  const { drawnOut, flatness } = usualForm(stars, outer);
  const isDoubled = fraction < 1 && outer > smallestOuter && drawnOut < mostDrawnOut;
  // Where no star is bright enough, wings were assumed; of stars that are flatter than a Gaussian that is wrong.
  const share = isDoubled && flatness > flatterThanGaussian ? almostAll : fraction;
  const enough = isDoubled ? brightEnough(stars) : 0;
  for (const star of inRowOrder(stars)) {
    const snr = star.flux / star.fluxError;
    if (!(snr > leastSnrForGrowth)) continue;
    const x = (star.x + 0.5) * side - 0.5;
    const y = (star.y + 0.5) * side - 0.5;
    const middleX = Math.round(x);
    const middleY = Math.round(y);
    cutStamp(source, middleX, middleY, radius, star.sky / (side * side), stamp);
    if (!growthCurve(stamp, x - middleX, y - middleY, within, fraction, growth)) continue;
    star.hfr = growth.hfr / side;
    if (star.flags !== 0) continue;
    const foreign = foreignLight(stamp, x - middleX, y - middleY, within, star.sigma / side, star.flux);
    if (isDoubled && star.flux >= enough && growthCurve(stamp, x - middleX, y - middleY, within / 2, fraction, half)) {
      const near = foreignLight(stamp, x - middleX, y - middleY, within / 2, star.sigma / side, star.flux);
      const inner = (half.flux - near) / star.flux;
      const ring = (growth.flux - foreign) / star.flux - inner;
      if (!Number.isNaN(inner)) doubled.push({ star, inner, ring, error: star.fluxError / star.flux });
    }
    if (isDoubled || Number.isNaN(foreign)) continue;
    const ratio = (growth.flux - foreign) / fraction / star.flux;
    star.apertureRatio = ratio;
    used.push({ ratio, flux: star.flux, error: star.fluxError });
  }
  if (isDoubled) {
    const { part, share: counted } = wingShares(doubled, share);
    for (const { star, inner, ring } of doubled) {
      const ratio = (part > 0 ? inner + part * ring : inner) / counted;
      if (Number.isNaN(ratio)) continue;
      star.apertureRatio = ratio;
      used.push({ ratio, flux: star.flux, error: star.fluxError });
    }
  }
  if (used.length < enoughAlone) {
    const tight = tightRatios(stars, image, within, share, stamp);
    if (tight.length > used.length) {
      used.length = 0;
      for (const { star, ratio } of tight) {
        star.apertureRatio = ratio;
        used.push({ ratio, flux: star.flux, error: star.fluxError });
      }
    }
  }
  const factor =
    fluxScale(
      used.map(({ ratio }) => ratio),
      used.map(({ flux }) => flux),
      used.map(({ error }) => error),
    )?.scale ?? 1;
  if (!(factor > 0.5 && factor < 3)) return;
  for (const star of stars) {
    star.flux *= factor;
    star.fluxError *= factor;
    if (star.apertureRatio !== undefined) star.apertureRatio /= factor;
  }
}

/**
 * Longer by shorter axis of the frame's stars; and how flat they are on top: width at half maximum (a third of the
 * aperture's radius) by the matched Gaussian's standard deviation. NaN: not known.
 */
function usualForm(stars: readonly Star[], outer: number): { readonly drawnOut: number; readonly flatness: number } {
  const axes = stars
    .filter((star) => star.flags === 0 && star.flux > leastSnrForGrowth * star.fluxError)
    .map(({ xx, xy, yy }) => axesOf(xx, xy, yy));
  return {
    drawnOut: median(axes.map(({ major, minor }) => major / minor)),
    flatness: outer / 3 / median(axes.map(({ major, minor }) => Math.sqrt(major * minor))),
  };
}

/** Flux from which on a star is among those that stand alone and that matching will look at. */
function brightEnough(stars: readonly Star[]): number {
  const fluxes = stars.filter((star) => star.flags === 0).map(({ flux }) => flux);
  return fluxes.length > mostBrightStars ? quantile(fluxes, 1 - mostBrightStars / fluxes.length) : 0;
}

/**
 * Marks what is clearly wider than the typical star: by 1.4 times and more, allowing for the error of a faint star's
 * width, which is about 1 / SNR.
 */
export function markExtended(stars: readonly Star[], { xx, xy, yy }: Light): void {
  const typical = xx * yy - xy * xy;
  for (const star of stars) {
    const wider = Math.sqrt(Math.sqrt((star.xx * star.yy - star.xy * star.xy) / typical));
    if (wider > 1.4 + star.fluxError / Math.abs(star.flux) && (star.flags & starFlags.saturated) === 0)
      star.flags |= starFlags.extended;
  }
}
