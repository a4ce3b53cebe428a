import { median } from "../numbers/quantiles.js";
import { medianAndSigma } from "../numbers/robust.js";
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
const enoughForFreeBeta = 30;
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
  let fits = fitAll(Number.NaN);
  const notes: string[] = [];
  let beta = median(fits.map(({ fit }) => fit.beta));
  if (fits.length < enoughForFreeBeta) {
    const bright = fits.filter(({ star }) => star.flux > 100 * star.fluxError);
    if (bright.length > 0) beta = median(bright.map(({ fit }) => fit.beta));
    else {
      beta = assumedBeta;
      notes.push(`no star is bright enough to show the shape of its wings: beta ${assumedBeta} assumed`);
    }
    fits = fitAll(beta);
  }
  const widths = fits.map(({ fit }) => Math.sqrt(fit.fwhmMajor * fit.fwhmMinor));
  const { median: fwhm, sigma } = medianAndSigma(widths);
  // The median of a normal sample has sqrt(pi/2) the standard error of the mean.
  const fwhmError = widths.length >= 3 ? (1.2533 * sigma) / Math.sqrt(widths.length) : Number.NaN;
  return { fwhm, fwhmError, beta: fits.length > 0 ? beta : Number.NaN, fits, notes };
}
