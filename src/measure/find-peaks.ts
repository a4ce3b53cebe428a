import type { Background } from "./background.js";
import { type SumPlane, segment } from "./frame-buffers.js";
import type { Workspace } from "./simd/workspace.js";

/** Sum of the 3 x 3 weights 1-2-1 x 1-2-1, and the scatter of the weighted sum for scatter 1 of each value. */
export const kernelSum = 16;
export const kernelSigma = 6;

/** The matched filter at one place: 3 x 3 weights 1-2-1 x 1-2-1. */
export function smoothed(values: Float32Array, at: number, width: number): number {
  return (
    values[at - width - 1]! +
    values[at - width + 1]! +
    values[at + width - 1]! +
    values[at + width + 1]! +
    2 * (values[at - width]! + values[at - 1]! + values[at + 1]! + values[at + width]!) +
    4 * values[at]!
  );
}

/**
 * Local maxima of the smoothed sums that stand out of the sky. The filter is only worked out where the middle value
 * alone stands out, which is a few per cent of the image.
 * @param scale - how much larger a sum of this plane is than one of the plane that the background was measured on
 * @param thresholdSigma - how many sigma of the smoothed sky
 * @param space - its peaks receive the indices; no more than fit
 * @returns how many were found
 */
export function findPeaks(
  plane: SumPlane,
  background: Background,
  scale: number,
  thresholdSigma: number,
  space: Workspace,
): number {
  const { values, width, height } = plane;
  const { kernels, single, filtered, peaks } = space;
  const fast = kernels !== null && values.buffer === peaks.buffer ? kernels : null;
  const segments = Math.ceil(width / segment);
  const toMap = background.level.width / width;
  let found = 0;
  for (let y = 2; y < height - 2; y++) {
    if ((y & 7) === 2)
      for (let s = 0; s < segments; s++) {
        const mapX = (s * segment + segment / 2) * toMap;
        const mapY = (y + 4) * toMap;
        const level = background.level.at(mapX, mapY) * scale;
        const sigma = background.sigma.within(mapX, mapY) * Math.sqrt(scale);
        single[s] = level + 0.3 * thresholdSigma * sigma;
        filtered[s] = kernelSum * level + thresholdSigma * kernelSigma * sigma;
      }
    found =
      fast === null
        ? peaksInRow(values, width, y, segments, single, filtered, peaks, found)
        : fast.peaksInRow(
            values.byteOffset,
            width,
            y,
            single.byteOffset,
            filtered.byteOffset,
            segments,
            peaks.byteOffset,
            found,
            peaks.length,
          );
  }
  return found;
}

function peaksInRow(
  values: Float32Array,
  width: number,
  y: number,
  segments: number,
  single: Float64Array,
  filtered: Float64Array,
  peaks: Int32Array,
  found: number,
): number {
  const row = y * width;
  for (let s = 0; s < segments; s++) {
    const threshold = single[s]!;
    const end = Math.min(row + width - 2, row + (s + 1) * segment);
    for (let at = row + (s === 0 ? 2 : s * segment); at < end; at++) {
      if (!(values[at]! > threshold)) continue;
      if (!(smoothed(values, at, width) > filtered[s]!)) continue;
      if (isMaximum(values, at, width) && found < peaks.length) peaks[found++] = at;
    }
  }
  return found;
}

/**
 * True where the smoothed sums are largest. Of two equal neighbours one must win: the later one. Beside missing values
 * nothing is a maximum.
 */
export function isMaximum(values: Float32Array, at: number, width: number): boolean {
  const here = smoothed(values, at, width);
  return (
    here >= smoothed(values, at - 1, width) &&
    here > smoothed(values, at + 1, width) &&
    here >= smoothed(values, at - width, width) &&
    here > smoothed(values, at + width, width) &&
    here >= smoothed(values, at - width - 1, width) &&
    here >= smoothed(values, at - width + 1, width) &&
    here > smoothed(values, at + width - 1, width) &&
    here > smoothed(values, at + width + 1, width)
  );
}
