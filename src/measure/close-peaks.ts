import type { SumPlane } from "./frame-buffers.js";
import type { Star } from "./star.js";

/** How far around a star is searched, in sums, and how far its own middle reaches. */
const reach = 4;
const middle = 1.5;
/** What must be left, in sigma of a sum, and by how much it must outshine what is opposite. */
const standsOut = 6;
const opposite = 1.5;

/**
 * Sums beside a bright star that are brighter than those around them, and than those on the star's other side: a fainter
 * star so near that the smoothed sums, of which {@link findPeaks} takes the maxima, run the two together. Spikes, trails
 * and whatever else has two sides are left alone.
 * @param star - in pixels; a sum holds 2 x 2 of them
 * @param found - receives indices of sums
 */
export function closePeaks({ values, width, height }: SumPlane, star: Star, found: number[]): void {
  const x = star.x / 2 - 0.25;
  const y = star.y / 2 - 0.25;
  const column = Math.round(x);
  const row = Math.round(y);
  if (column < 2 * reach || row < 2 * reach || column >= width - 2 * reach || row >= height - 2 * reach) return;
  const level = 4 * star.sky;
  const least = level + standsOut * 2 * star.sigma;
  for (let dy = -reach; dy <= reach; dy++)
    for (let dx = -reach; dx <= reach; dx++) {
      const at = (row + dy) * width + column + dx;
      const value = values[at]!;
      if (!(value > least)) continue;
      const offX = column + dx - x;
      const offY = row + dy - y;
      if (offX * offX + offY * offY < middle * middle || !isLargest(values, at, width)) continue;
      // The four sums around the opposite place.
      const other = Math.floor(y - offY) * width + Math.floor(x - offX);
      const most = Math.max(values[other]!, values[other + 1]!, values[other + width]!, values[other + width + 1]!);
      if (value - level > opposite * Math.max(0, most - level)) found.push(at);
    }
}

function isLargest(values: Float32Array, at: number, width: number): boolean {
  const value = values[at]!;
  return (
    value > values[at - 1]! &&
    value >= values[at + 1]! &&
    value > values[at - width]! &&
    value >= values[at + width]! &&
    value > values[at - width - 1]! &&
    value > values[at - width + 1]! &&
    value >= values[at + width - 1]! &&
    value >= values[at + width + 1]!
  );
}
