import { cutStamp, mostStampRadius, type Source, type Stamp } from "./stamp.js";
import type { Star } from "./star.js";

const means = new Float64Array(mostStampRadius + 1);
const counts = new Float64Array(mostStampRadius + 1);

/**
 * Outer width at half of the highest brightness of a star that is a ring, as mirror telescopes show it far out of
 * focus.
 * @returns pixels of the level; NaN when the star is brightest in its middle
 */
export function ringWidth(star: Star, source: Source, stamp: Stamp): number {
  const middleX = Math.round(star.x);
  const middleY = Math.round(star.y);
  const radius = Math.min(mostStampRadius, Math.ceil(3 * Math.sqrt(Math.max(star.xx, star.yy))) + 2);
  cutStamp(source, middleX, middleY, radius, star.sky, stamp);
  means.fill(0);
  counts.fill(0);
  for (let y = -radius; y <= radius; y++)
    for (let x = -radius; x <= radius; x++) {
      const bin = Math.round(Math.hypot(middleX + x - star.x, middleY + y - star.y));
      const value = stamp.values[(y + radius) * stamp.side + x + radius]!;
      if (bin > radius || Number.isNaN(value)) continue;
      means[bin]! += value;
      counts[bin]!++;
    }
  let top = 0;
  for (let bin = 0; bin <= radius; bin++) {
    means[bin] = counts[bin]! > 0 ? means[bin]! / counts[bin]! : 0;
    if (means[bin]! > means[top]!) top = bin;
  }
  if (top < 2 || means[0]! > 0.75 * means[top]!) return Number.NaN;
  const half = means[top]! / 2;
  for (let bin = top; bin < radius; bin++)
    if (means[bin + 1]! < half) return 2 * (bin + (means[bin]! - half) / (means[bin]! - means[bin + 1]!));
  return Number.NaN;
}
