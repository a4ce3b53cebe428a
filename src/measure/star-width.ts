import { median } from "../numbers/quantiles.js";
import { medianAndSigma } from "../numbers/robust.js";
import { halfMaximumFactor } from "./half-maximum.js";
import { fitMoffat, type MoffatFit } from "./moffat-fit.js";
import type { Source, Stamp } from "./stamp.js";
import { cutStamp, keepGreen } from "./stamp.js";
import type { Star } from "./star.js";

/** Width of a frame's stars, pixels of the level, before the pixel blurred it. */
export interface StarWidth {
  readonly fwhm: number;
  /** Standard error of the median over the stars; NaN below three stars. */
  readonly fwhmError: number;
  /** Shape of the wings; NaN when it was not fitted. */
  readonly beta: number;
  readonly fits: readonly { readonly star: Star; readonly fit: MoffatFit }[];
  readonly notes: readonly string[];
}

const mostFits = 100;
const fewForFreeBeta = 20;
const enoughForFreeBeta = 40;
/** Wings of stars under seeing alone (Moffat 1969; Trujillo et al. 2001 give 4.765 for theory); used with faint stars only. */
const assumedBeta = 3;

/**
 * Moffat fits to the brightest of the given stars.
 * @param stars - unsaturated, complete, with a shape; brightest first
 * @param typicalSigma - standard deviation of the typical star, pixels of the level
 * @param perValue - variance that each unit of starlight adds
 */
export function measureWidth(
  stars: readonly Star[],
  source: Source,
  typicalSigma: number,
  perValue: number,
  stamp: Stamp,
): StarWidth {
  const radius = Math.max(4, Math.min(40, Math.round(3.5 * typicalSigma)));
  const fitAll = (beta: number) =>
    stars.slice(0, mostFits).flatMap((star) => {
      const middleX = Math.round(star.x);
      const middleY = Math.round(star.y);
      cutStamp(source, middleX, middleY, radius, star.sky, stamp);
      if (source.mosaic !== null) keepGreen(source.mosaic, stamp);
      const { xx, xy, yy } = star;
      const moments = { x: star.x - middleX, y: star.y - middleY, xx, xy, yy, flux: star.flux };
      const fit = fitMoffat(stamp, moments, { radius, skyVariance: star.sigma ** 2, perValue, beta });
      return fit === null ? [] : [{ star, fit }];
    });
  const ofFits = (fits: StarWidth["fits"], beta: number) => {
    const { median: middle, sigma } = medianAndSigma(fits.map(({ fit }) => Math.sqrt(fit.fwhmMajor * fit.fwhmMinor)));
    return { fits, beta, sigma, fwhm: middle * halfMaximumFactor(fits, source, radius, perValue, stamp) };
  };
  const free = fitAll(Number.NaN);
  const notes: string[] = [];
  const all = ofFits(free, median(free.map(({ fit }) => fit.beta)));
  // With few stars one beta for all of them; in between, both results by weight, so that one star more or less never
  // makes the width jump.
  const share = Math.max(0, Math.min(1, (free.length - fewForFreeBeta) / (enoughForFreeBeta - fewForFreeBeta)));
  let chosen = all;
  if (share < 1) {
    const bright = free.filter(({ star }) => star.flux > 100 * star.fluxError);
    const known = bright.length > 0 ? median(bright.map(({ fit }) => fit.beta)) : assumedBeta;
    if (bright.length === 0)
      notes.push(`no star is bright enough to show the shape of its wings: beta ${assumedBeta} assumed`);
    const common = ofFits(fitAll(known), known);
    const mix = (key: "fwhm" | "beta" | "sigma") =>
      share > 0 ? share * all[key] + (1 - share) * common[key] : common[key];
    chosen = { fits: common.fits, beta: mix("beta"), sigma: mix("sigma"), fwhm: mix("fwhm") };
  }
  const { fits, fwhm, beta, sigma } = chosen;
  // The median of a normal sample has sqrt(pi/2) the standard error of the mean.
  const fwhmError = fits.length >= 3 ? (1.2533 * sigma) / Math.sqrt(fits.length) : Number.NaN;
  return { fwhm, fwhmError, beta: fits.length > 0 ? beta : Number.NaN, fits, notes };
}
