import { median } from "../numbers/quantiles.js";
import type { SumPlane } from "./frame-buffers.js";
import { MeshMap } from "./mesh-map.js";
import { fitSky, type SkyFit, skyBins } from "./sky-histogram.js";

/** Side of a mesh of the background, in pixels of the frame. */
export const meshPx = 64;
/** A step between neighbouring meshes that no sky makes, in sigma of a sum. */
const steepest = 30;

/** The sky of a frame, in units of the 2 x 2 sums. */
export interface Background {
  /** Level of a sum. */
  readonly level: MeshMap;
  /** Scatter of a sum; Infinity where the level falls off a cliff. */
  readonly sigma: MeshMap;
  /** 1 for a mesh in which no sky was found: without values, constant, or out of range. */
  readonly empty: Uint8Array;
  /** Median of the meshes' levels and scatters; NaN when every mesh is empty (a constant frame has a level). */
  readonly medianLevel: number;
  readonly medianSigma: number;
}

/**
 * Sky level and noise on a grid of meshes of about 64 x 64 pixels.
 * @param wholeNumbers - true when pixels are integers, so that a bin must not be narrower than one step
 */
export function measureBackground(sums: SumPlane, wholeNumbers: boolean): Background {
  const side = meshPx / 2;
  const across = Math.max(1, Math.round(sums.width / side));
  const down = Math.max(1, Math.round(sums.height / side));
  const level = new Float64Array(across * down).fill(Number.NaN);
  const sigma = new Float64Array(across * down).fill(Number.NaN);
  const empty = new Uint8Array(across * down).fill(1);
  const constants: number[] = [];
  const range = histogramRange(sums, wholeNumbers);
  if (range !== null) {
    const histogram = new Uint32Array(skyBins);
    const fit: SkyFit = { level: Number.NaN, sigma: Number.NaN };
    for (let row = 0; row < down; row++)
      for (let column = 0; column < across; column++) {
        histogram.fill(0);
        const fromX = Math.floor((column * sums.width) / across);
        const toX = Math.floor(((column + 1) * sums.width) / across);
        const fromY = Math.floor((row * sums.height) / down);
        const toY = Math.floor(((row + 1) * sums.height) / down);
        fillHistogram(sums.values, sums.width, fromX, toX, fromY, toY, range.low, 1 / range.step, histogram);
        const count = (toX - fromX) * (toY - fromY) - histogram[0]! - histogram[skyBins - 1]!;
        if (count < ((toX - fromX) * (toY - fromY)) / 4) continue;
        let first = 1;
        while (histogram[first] === 0) first++;
        if (histogram[first] === count) {
          constants.push(range.low + first * range.step);
          continue;
        }
        fitSky(histogram, first, count, fit);
        if (!Number.isFinite(fit.level)) continue;
        const mesh = row * across + column;
        level[mesh] = range.low + fit.level * range.step;
        sigma[mesh] = fit.sigma * range.step;
        empty[mesh] = 0;
      }
  }
  const levels = new MeshMap(across, down, sums.width, sums.height, level).filtered();
  const sigmas = new MeshMap(across, down, sums.width, sums.height, sigma).filtered();
  const medianSigma = median(sigmas.values);
  closeCliffs(levels, sigmas, medianSigma);
  const medianLevel = empty.includes(0) ? median(levels.values) : median(constants);
  return { level: levels, sigma: sigmas, empty, medianLevel, medianSigma };
}

/**
 * Where the level falls off a cliff (the edge of a roof), no sky can be told: what is left of the bright side looks like
 * a huge star. The scatter becomes Infinity there, so that nothing stands out.
 */
function closeCliffs({ across, down, values }: MeshMap, sigmas: MeshMap, medianSigma: number): void {
  const limit = steepest * medianSigma;
  for (let row = 0; row < down; row++)
    for (let column = 0; column < across; column++) {
      const at = row * across + column;
      for (const other of [column + 1 < across ? at + 1 : at, row + 1 < down ? at + across : at])
        if (Math.abs(values[at]! - values[other]!) > limit) {
          sigmas.values[at] = Number.POSITIVE_INFINITY;
          sigmas.values[other] = Number.POSITIVE_INFINITY;
        }
    }
}

/** Counts the sums of one mesh. NaN and what is below the range goes to the first bin, what is above to the last. */
function fillHistogram(
  values: Float32Array,
  width: number,
  fromX: number,
  toX: number,
  fromY: number,
  toY: number,
  low: number,
  perStep: number,
  histogram: Uint32Array,
): void {
  for (let y = fromY; y < toY; y++)
    for (let at = y * width + fromX, end = y * width + toX; at < end; at++) {
      // NaN | 0 is 0; + 0.5 rounds, so that whole numbers sit in the middle of their bin.
      let bin = ((values[at]! - low) * perStep + 0.5) | 0;
      if (bin < 0) bin = 0;
      else if (bin > skyBins - 1) bin = skyBins - 1;
      histogram[bin]!++;
    }
}

/** Lower end and bin width of the histograms, from every 16th sum of every 16th row, each row shifted. */
function histogramRange(
  { values, width, height }: SumPlane,
  wholeNumbers: boolean,
): { low: number; step: number } | null {
  const spacing = width * height < 40_000 ? 4 : 16;
  const sample: number[] = [];
  for (let y = 0, k = 0; y < height; y += spacing, k += 5)
    for (let x = k % spacing; x < width; x += spacing) {
      const value = values[y * width + x]!;
      // Exact zeros are the border of a registered frame, not sky.
      if (Number.isFinite(value) && value !== 0) sample.push(value);
    }
  if (sample.length < 16) return allZero(values) ? { low: -2, step: 1 } : null;
  const sorted = Float64Array.from(sample).sort();
  // The shortest interval with 30 % of the sample lies around the most common level, whatever else is in the frame;
  // of a normal distribution it is 0.77 sigma wide.
  const share = Math.ceil(0.3 * sorted.length);
  let start = 0;
  for (let i = 0; i + share < sorted.length; i++)
    if (sorted[i + share]! - sorted[i]! < sorted[start + share]! - sorted[start]!) start = i;
  const middle = sorted[start + (share >> 1)]!;
  const scatter = (sorted[start + share]! - sorted[start]!) / 0.77;
  const spread = sorted[Math.floor(sorted.length * 0.9)]! - sorted[0]!;
  let step = (scatter > 0 ? scatter : spread > 0 ? spread / 100 : Math.abs(middle) * 1e-6 + 1e-30) / 8;
  // Odd steps keep a whole number of whole numbers in each bin, symmetric around its centre.
  if (step >= 1) step = 2 * Math.floor((step - 1) / 2) + 1;
  else if (wholeNumbers) step = 1;
  const lowest = sorted[0]! - 8 * scatter - 2 * step;
  const low = Math.max(lowest, middle - 0.7 * skyBins * step);
  // Zeros must fall below the range where the sky is far from zero.
  const above = lowest <= 0 && middle - 8 * scatter > 2 * step ? Math.max(low, 2 * step) : low;
  return { low: wholeNumbers ? Math.floor(above) : above, step };
}

const allZero = (values: Float32Array) => values.length > 0 && values.every((value) => value === 0);
