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
/** Counts below a bin, and sums of the bins' numbers and of their squares over them. */
const counts = new Float64Array(skyBins + 1);
const sums = new Float64Array(skyBins + 1);
const squares = new Float64Array(skyBins + 1);

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
  let sigma = Math.max(0.3, (level - quantileBin(histogram, first, 0.1 * count)) / 1.0282);
  let summed = first;
  counts[first] = 0;
  sums[first] = 0;
  squares[first] = 0;
  for (let round = 0; round < mostRounds; round++) {
    const low = Math.max(first, Math.round(level - lowerCut * sigma));
    const high = Math.min(skyBins - 2, Math.max(low + 2, Math.round(level + upperCut * sigma)));
    for (; summed <= high; summed++) {
      const many = histogram[summed]!;
      counts[summed + 1] = counts[summed]! + many;
      sums[summed + 1] = sums[summed]! + many * summed;
      squares[summed + 1] = squares[summed]! + many * summed * summed;
    }
    const n = counts[high + 1]! - counts[low]!;
    const sum = sums[high + 1]! - sums[low]!;
    const square = squares[high + 1]! - squares[low]!;
    if (n < 8) break;
    // Whole numbers: exact in whatever order they are added.
    const mean = (sum - low * n) / n;
    const variance = (square - 2 * low * sum + low * low * n) / n - mean * mean;
    const from = (low - 0.5 - level) / sigma;
    const to = (high + 0.5 - level) / sigma;
    const densityFrom = normalDensity(from);
    const densityTo = normalDensity(to);
    const inside = Math.max(1e-9, normalCumulative(to, densityTo) - normalCumulative(from, densityFrom));
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
