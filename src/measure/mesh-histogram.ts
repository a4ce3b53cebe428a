import { median } from "../numbers/quantiles.js";
import { madToSigma } from "../numbers/robust.js";
import type { SumPlane } from "./frame-buffers.js";
import type { Workspace } from "./simd/workspace.js";
import { skyBins } from "./sky-histogram.js";

/** Which values a histogram holds: bin k covers low + (k +- 0.5) step. */
export interface HistogramRange {
  readonly low: number;
  readonly step: number;
  /** True when all values, and so low, are whole numbers. */
  readonly whole: boolean;
}

/**
 * Counts the sums of one mesh. NaN and what is below the range goes to the first bin, what is above to the last.
 * @param tiltX - rise of the sky from sum to sum, taken off around the middle of the mesh
 * @returns the lowest bin above the first with a count; the last bin when there is none
 */
export function fillHistogram(
  { values, width }: SumPlane,
  fromX: number,
  toX: number,
  fromY: number,
  toY: number,
  { low, step, whole }: HistogramRange,
  tiltX: number,
  tiltY: number,
  { kernels, histogram }: Pick<Workspace, "kernels" | "histogram">,
): number {
  const perStep = 1 / step;
  const flat = tiltX === 0 && tiltY === 0;
  // Then no value lies between two bins, and single precision finds the same bin.
  const simple = flat && whole && step % 2 === 1 && step < 512 && Math.abs(low) + skyBins * step < 2 ** 24;
  if (kernels !== null && values.buffer === histogram.buffer)
    return (simple ? kernels.fillSimpleHistogram : kernels.fillHistogram)(
      values.byteOffset,
      width,
      fromX,
      toX,
      fromY,
      toY,
      low,
      perStep,
      tiltX,
      tiltY,
      histogram.byteOffset,
    );
  histogram.fill(0);
  const middleX = (fromX + toX - 1) / 2;
  const middleY = (fromY + toY - 1) / 2;
  for (let y = fromY; y < toY; y++) {
    let base = low + tiltY * (y - middleY) + tiltX * (fromX - middleX);
    for (let at = y * width + fromX, end = y * width + toX; at < end; at++, base += tiltX) {
      // NaN | 0 is 0; + 0.5 rounds, so that whole numbers sit in the middle of their bin.
      let bin = ((values[at]! - base) * perStep + 0.5) | 0;
      if (bin < 0) bin = 0;
      else if (bin > skyBins - 1) bin = skyBins - 1;
      histogram[bin]!++;
    }
  }
  let first = 1;
  while (first < skyBins - 1 && histogram[first] === 0) first++;
  return first;
}

/** Lower end and bin width of the histograms, from every 16th sum of every 16th row, each row shifted. */
export function histogramRange({ values, width, height }: SumPlane, wholeNumbers: boolean): HistogramRange | null {
  const spacing = width * height < 40_000 ? 4 : 16;
  const sample: number[] = [];
  const differences: number[] = [];
  for (let y = 0, k = 0; y < height; y += spacing, k += 5)
    for (let x = k % spacing; x < width; x += spacing) {
      const value = values[y * width + x]!;
      // Exact zeros are the border of a registered frame, not sky.
      if (!Number.isFinite(value) || value === 0) continue;
      sample.push(value);
      const next = values[y * width + x + 1]!;
      if (x + 1 < width && Number.isFinite(next)) differences.push(Math.abs(next - value));
    }
  if (sample.length < 16) return allZero(values) ? { low: -2, step: 1, whole: true } : null;
  const sorted = Float64Array.from(sample).sort();
  // The shortest interval with 30 % of the sample lies around the most common level, whatever else is in the frame.
  const share = Math.ceil(0.3 * sorted.length);
  let start = 0;
  for (let i = 0; i + share < sorted.length; i++)
    if (sorted[i + share]! - sorted[i]! < sorted[start + share]! - sorted[start]!) start = i;
  const middle = sorted[start + (share >> 1)]!;
  // From neighbours, so that neither a slope nor a roof counts as scatter.
  const scatter = (madToSigma * median(differences)) / Math.SQRT2;
  const spread = sorted[Math.floor(sorted.length * 0.9)]! - sorted[0]!;
  let step = (scatter > 0 ? scatter : spread > 0 ? spread / 100 : Math.abs(middle) * 1e-6 + 1e-30) / 8;
  // Odd steps keep a whole number of whole numbers in each bin, symmetric around its centre.
  if (step >= 1) step = 2 * Math.floor((step - 1) / 2) + 1;
  else if (wholeNumbers) step = 1;
  const lowest = sorted[0]! - 8 * scatter - 2 * step;
  const low = Math.max(lowest, middle - 0.7 * skyBins * step);
  // Zeros must fall below the range where the sky is far from zero.
  const above = lowest <= 0 && middle - 8 * scatter > 2 * step ? Math.max(low, 2 * step) : low;
  return { low: wholeNumbers ? Math.floor(above) : above, step, whole: wholeNumbers };
}

const allZero = (values: Float32Array) => values.length > 0 && values.every((value) => value === 0);
