import { median } from "../numbers/quantiles.js";
import { type MoffatFit, moffatFwhm } from "./moffat-fit.js";
import { cutStamp, keepGreen, type Source, type Stamp } from "./stamp.js";
import type { Star } from "./star.js";

const perFwhm = 12;
/** The mean profile is looked at out to this many FWHM. */
const reach = 1.5;
const bins = Math.ceil(reach * perFwhm);
/** Bins that stand for the star's middle, where its outline is level. */
const innerBins = 2;
/** No star counts more than one with this error of its pixels in units of its peak. */
const leastError = 0.05;
/** Real stars scatter more than their noise: a deviation below two errors is not believed at all. */
const caution = 2;
/** What a profile may differ from the fitted one, in units of its peak. */
const strangest = 0.25;
/** Places and weights of three Gauss-Legendre points over a pixel. */
const places = [-Math.sqrt(0.15), 0, Math.sqrt(0.15)] as const;
const shares = [5 / 18, 8 / 18, 5 / 18] as const;

const weights = new Float64Array(bins);
const sums = new Float64Array(bins);
const distances2 = new Float64Array(bins);
/** Sums of squared weights times variances. */
const spreads = new Float64Array(bins);

/**
 * By how much the stars' own half-maximum width differs from that of the profiles fitted to them. Stars out of focus
 * are flatter than any Moffat profile, and aberrations add a wide foot: the mean of what the fits leave over, by
 * distance in units of the fitted FWHM, is put on the mean fitted profile, and half of the sum's middle is looked for.
 * What the noise of the left-over explains is not believed: the deviation from 1 shrinks by 1 - (2 error / deviation)^2.
 * @param radius - pixels farther from a star than this were not fitted
 * @param perValue - variance that each unit of starlight adds
 * @returns a factor for the fitted FWHM; 1 where nothing can be told
 */
export function halfMaximumFactor(
  fits: readonly { readonly star: Star; readonly fit: MoffatFit }[],
  source: Source,
  radius: number,
  perValue: number,
  stamp: Stamp,
): number {
  weights.fill(0);
  sums.fill(0);
  distances2.fill(0);
  spreads.fill(0);
  let perBeta = 0;
  let sizes = 0;
  const alike = likeMost(fits);
  for (const { star, fit } of alike) {
    cutStamp(source, Math.round(star.x), Math.round(star.y), radius, star.sky, stamp);
    if (source.mosaic !== null) keepGreen(source.mosaic, stamp);
    addLeftOver(star, fit, radius, perValue, stamp);
    perBeta += 1 / fit.beta / alike.length;
    sizes += widthOf(fit) / alike.length;
  }
  // What is left over swings once over about an FWHM; a square pixel has flattened such a wave to this share.
  const flattened = Math.max(0.5, 1 - (2 * Math.PI) ** 2 / (24 * sizes * sizes));
  return factorOf(1 / perBeta, flattened);
}

const widthOf = ({ fwhmMajor, fwhmMinor }: MoffatFit) => Math.sqrt(fwhmMajor * fwhmMinor);

/** Without blends and failed fits: widths near the median, and no worse in chi-square than most. */
function likeMost<T extends { readonly fit: MoffatFit }>(fits: readonly T[]): T[] {
  const width = median(fits.map(({ fit }) => widthOf(fit)));
  const chi2 = median(fits.map(({ fit }) => fit.reducedChi2));
  return fits.filter(({ fit }) => Math.abs(widthOf(fit) / width - 1) < 0.25 && fit.reducedChi2 <= 3 * chi2);
}

/** Adds what a fit leaves over, in units of its peak, to the bins of its distance. */
function addLeftOver(star: Star, fit: MoffatFit, radius: number, perValue: number, stamp: Stamp): void {
  const { fwhmMajor, fwhmMinor, angle, peak } = fit;
  const cosine = Math.cos(angle);
  const sine = Math.sin(angle);
  meanOverPixel(fit, stamp);
  const shapeAt = (dx: number, dy: number) => {
    const along = (dx * cosine + dy * sine) / fwhmMajor;
    const across = (dy * cosine - dx * sine) / fwhmMinor;
    return along * along + across * across;
  };
  for (let y = -radius; y <= radius; y++)
    for (let x = -radius; x <= radius; x++) {
      const value = stamp.values[(y + stamp.radius) * stamp.side + x + stamp.radius]!;
      if (Number.isNaN(value) || x * x + y * y > radius * radius) continue;
      const d2 = shapeAt(x - fit.x, y - fit.y);
      const bin = Math.floor(Math.sqrt(d2) * perFwhm);
      if (bin >= bins) continue;
      const model = stamp.weights[(y + stamp.radius) * stamp.side + x + stamp.radius]!;
      const variance = (star.sigma ** 2 + perValue * peak * model) / (peak * peak);
      const left = (value - fit.sky) / peak - model;
      // A hot pixel or a neighbour, not the star: no profile is that different from the fitted one.
      if (Math.abs(left) > strangest + 5 * Math.sqrt(variance)) continue;
      const weight = 1 / (variance + leastError ** 2);
      weights[bin]! += weight;
      sums[bin]! += weight * left;
      distances2[bin]! += weight * d2;
      spreads[bin]! += weight * weight * variance;
    }
}

/** Fills the stamp's weights with the fitted profile, of peak 1, averaged over pixels. */
function meanOverPixel({ x, y, beta, fwhmMajor, fwhmMinor, angle }: MoffatFit, stamp: Stamp): void {
  const { radius, side, weights: into, kernels, out } = stamp;
  const cosine = Math.cos(angle);
  const sine = Math.sin(angle);
  const k = moffatFwhm(beta) ** 2;
  const a = k * ((cosine / fwhmMajor) ** 2 + (sine / fwhmMinor) ** 2);
  const b = k * cosine * sine * (1 / fwhmMajor ** 2 - 1 / fwhmMinor ** 2);
  const c = k * ((sine / fwhmMajor) ** 2 + (cosine / fwhmMinor) ** 2);
  if (kernels !== null) {
    out.set([x, y, a, b, c, beta]);
    kernels.moffatImage(out.byteOffset, radius, into.byteOffset);
    return;
  }
  for (let py = -radius; py <= radius; py++)
    for (let px = -radius; px <= radius; px++) {
      let mean = 0;
      for (let j = 0; j < 3; j++)
        for (let i = 0; i < 3; i++) {
          const dx = px + places[i]! - x;
          const dy = py + places[j]! - y;
          mean += shares[i]! * shares[j]! * (1 + a * dx * dx + (2 * b * dx + c * dy) * dy) ** -beta;
        }
      into[(py + radius) * side + px + radius] = mean;
    }
}

function factorOf(beta: number, flattened: number): number {
  const k = moffatFwhm(beta) ** 2;
  const outline = (d2: number) => (1 + k * d2) ** -beta;
  const known: { d2: number; left: number; variance: number }[] = [];
  let weight = 0;
  let inner = 0;
  let spread = 0;
  for (let bin = 0; bin < bins; bin++) {
    if (weights[bin] === 0) continue;
    known.push({
      d2: distances2[bin]! / weights[bin]!,
      left: sums[bin]! / weights[bin]! / flattened,
      variance: spreads[bin]! / (weights[bin]! * flattened) ** 2,
    });
    if (bin >= innerBins) continue;
    weight += weights[bin]! * flattened;
    inner += sums[bin]!;
    spread += spreads[bin]!;
  }
  if (known.length < perFwhm || weight === 0) return 1;
  const half = (1 + inner / weight) / 2;
  // The innermost crossing: farther out, neighbours may lift the mean.
  const crossed = known.findIndex(({ d2, left }) => outline(d2) + left <= half);
  const inside = known[crossed - 1];
  const outside = known[crossed];
  if (inside === undefined || outside === undefined) return 1;
  // Between the two bins the outline is known, and what is left over runs straight.
  const between = (d2: number) =>
    outline(d2) + inside.left + ((d2 - inside.d2) / (outside.d2 - inside.d2)) * (outside.left - inside.left);
  let [low, high] = [inside.d2, outside.d2];
  for (let step = 0; step < 30; step++) {
    const middle = (low + high) / 2;
    if (between(middle) > half) low = middle;
    else high = middle;
  }
  const slope = (between(inside.d2) - between(outside.d2)) / (outside.d2 - inside.d2);
  const deviation = 2 * Math.sqrt(low) - 1;
  const variance = ((inside.variance + outside.variance) / 2 + spread / (4 * weight * weight)) / (slope * slope) / low;
  return 1 + deviation * Math.max(0, 1 - (caution * variance) / (deviation * deviation));
}
