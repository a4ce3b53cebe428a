import { normalCumulative, normalDensity } from "../numbers/normal.js";

/** Number of histogram bins; the first collects what is below the range, the last what is above. */
export const skyBins = 4096;

/** Level and scatter of the sky in units of bins; NaN when there are too few values. */
export interface SkyFit {
  level: number;
  sigma: number;
}

const lowerCut = 3;
const upperCut = 1;
const mostRounds = 24;

/**
 * Fits a normal distribution to the part of a histogram where sky dominates: from 3 sigma below its peak to 1 sigma
 * above. Starlight only adds, so the upper side, where faint stars and wings of bright ones lie, is not looked at; a
 * symmetric clip would read both level and scatter too high. Mean and variance of the truncated normal distribution
 * (Johnson, Kotz & Balakrishnan 1994, sect. 13.10.1; from memory) turn the moments found into level and sigma.
 * @param histogram - counts; bin k covers k - 0.5 to k + 0.5
 * @param first - lowest bin with a count
 * @param count - number of values in bins 1 to skyBins - 2
 */
export function fitSky(histogram: Uint32Array, first: number, count: number, fit: SkyFit): void {
  fit.level = Number.NaN;
  fit.sigma = Number.NaN;
  if (count < 16) return;
  let level = quantileBin(histogram, first, 0.4 * count);
  let sigma = Math.max(
    0.3,
    (quantileBin(histogram, first, 0.4 * count) - quantileBin(histogram, first, 0.1 * count)) / 1.0282,
  );
  for (let round = 0; round < mostRounds; round++) {
    const low = Math.max(first, Math.round(level - lowerCut * sigma));
    const high = Math.min(skyBins - 2, Math.max(low + 2, Math.round(level + upperCut * sigma)));
    let n = 0;
    let sum = 0;
    let squares = 0;
    for (let bin = low; bin <= high; bin++) {
      const many = histogram[bin]!;
      const offset = bin - low;
      n += many;
      sum += many * offset;
      squares += many * offset * offset;
    }
    if (n < 8) break;
    const mean = sum / n;
    const variance = squares / n - mean * mean;
    const from = (low - 0.5 - level) / sigma;
    const to = (high + 0.5 - level) / sigma;
    const inside = Math.max(1e-9, normalCumulative(to) - normalCumulative(from));
    const densityFrom = normalDensity(from);
    const densityTo = normalDensity(to);
    const shift = (densityFrom - densityTo) / inside;
    const shrink = 1 + (from * densityFrom - to * densityTo) / inside - shift * shift;
    const nextSigma = Math.max(0.25, Math.min(2 * sigma, Math.sqrt(Math.max(0, variance) / Math.max(0.02, shrink))));
    const nextLevel = low + mean - nextSigma * shift;
    const moved = Math.abs(nextLevel - level) + Math.abs(nextSigma - sigma);
    level = nextLevel;
    sigma = nextSigma;
    if (moved < 0.002 * sigma) break;
  }
  fit.level = level;
  fit.sigma = sigma;
}

function quantileBin(histogram: Uint32Array, first: number, rank: number): number {
  let below = 0;
  let bin = first;
  while (bin < skyBins - 2 && below + histogram[bin]! < rank) below += histogram[bin++]!;
  return bin - 0.5 + (rank - below) / Math.max(1, histogram[bin]!);
}
