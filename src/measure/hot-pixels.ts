import type { SumPlane } from "./frame-buffers.js";
import type { Source, Stamp } from "./stamp.js";
import { inRowOrder, type Star, starFlags } from "./star.js";

/**
 * Tells a hot pixel or the hit of a cosmic ray from a star: a star, however sharp, lights the pixels around its
 * brightest one.
 * @param x - brightest pixel, relative to the middle of the stamp; at least 1 from its edge
 * @param sigma - noise of a pixel
 */
export function isHotPixel({ values, side, radius }: Stamp, x: number, y: number, sigma: number): boolean {
  const at = (y + radius) * side + x + radius;
  const peak = values[at]!;
  let around = 0;
  let strongest = Number.NEGATIVE_INFINITY;
  let known = 0;
  for (let dy = -1; dy <= 1; dy++)
    for (let dx = -1; dx <= 1; dx++) {
      const value = values[at + dy * side + dx]!;
      if ((dx === 0 && dy === 0) || Number.isNaN(value)) continue;
      known++;
      around += value;
      if (value > strongest) strongest = value;
    }
  if (known < 5) return true;
  around *= 8 / known;
  // A star of FWHM 1.5 px in the middle of a pixel puts 1.2 times its peak on the eight pixels around.
  if (around < 0.4 * peak) return true;
  if (around < 0.8 * peak + 1.5 * sigma) return true;
  // Without its brightest pixel the rest must still stand out.
  return around < 4 * sigma && peak > 6 * sigma && strongest < 3 * sigma;
}

const noOffsets = [0, 0, 0, 0] as const;

/**
 * Puts the mean of its neighbours in the place of a hot pixel, in the pixels and in their sums. These are the
 * measurement's own copy of the frame, never the sub itself.
 * @param at - index of the peak in the sums that the pixel made; the brightest of the 4 x 4 pixels around is meant
 * @param sky - level of a pixel
 * @returns index of the pixel
 */
export function mendHotPixel({ values, width, mosaic }: Source, sums: SumPlane, at: number, sky: number): number {
  const sumX = at % sums.width;
  const sumY = (at - sumX) / sums.width;
  const offsets = mosaic === null ? noOffsets : mosaic.offsets.map((offset) => offset.within(sumX, sumY));
  // Peaks are farther from the edges than any of these pixels.
  const corner = 2 * sumY * width + 2 * sumX;
  let brightest = -1;
  let peak = Number.NEGATIVE_INFINITY;
  for (let y = -1; y <= 2; y++)
    for (let x = -1; x <= 2; x++) {
      const channel = (x & 1) + 2 * (y & 1);
      const value = (values[corner + y * width + x]! - sky - offsets[channel]!) * (mosaic?.balance[channel] ?? 1);
      if (!(value > peak)) continue;
      peak = value;
      brightest = channel + 4 * (x + 1) + 16 * (y + 1);
    }
  const x = ((brightest >> 2) & 3) - 1;
  const y = (brightest >> 4) - 1;
  let around = 0;
  let known = 0;
  for (let dy = -1; dy <= 1; dy++)
    for (let dx = -1; dx <= 1; dx++) {
      const channel = ((x + dx) & 1) + 2 * ((y + dy) & 1);
      const raw = values[corner + (y + dy) * width + x + dx]!;
      if ((dx === 0 && dy === 0) || Number.isNaN(raw)) continue;
      known++;
      around += (raw - sky - offsets[channel]!) * (mosaic?.balance[channel] ?? 1);
    }
  const own = brightest & 3;
  const pixel = corner + y * width + x;
  if (known > 0) {
    const mended = around / known / (mosaic?.balance[own] ?? 1) + sky + offsets[own]!;
    values[pixel] = values instanceof Uint16Array ? Math.max(0, Math.round(mended)) : mended;
    const block = corner + (y >> 1) * 2 * width + (x >> 1) * 2;
    sums.values[at + (y >> 1) * sums.width + (x >> 1)] =
      values[block]! + values[block + 1]! + values[block + width]! + values[block + width + 1]!;
  }
  return pixel;
}

/**
 * Marks stars in which a pixel was mended: part of what they are is a guess.
 * @param mended - indices of the pixels in a frame of this width
 * @param distance - how near to a star's middle a pixel matters
 */
export function markMended(stars: readonly Star[], mended: readonly number[], width: number, distance: number): void {
  const byRow = mended.map((at) => ({ x: at % width, y: Math.floor(at / width) })).sort((a, b) => a.y - b.y);
  let from = 0;
  for (const star of inRowOrder(stars)) {
    while (from < byRow.length && byRow[from]!.y < Math.floor(star.y) - distance) from++;
    for (let k = from; k < byRow.length && byRow[k]!.y <= star.y + distance; k++)
      if ((byRow[k]!.x - star.x) ** 2 + (byRow[k]!.y - star.y) ** 2 < distance * distance)
        star.flags |= starFlags.incomplete;
  }
}
