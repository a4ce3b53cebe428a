import type { Stamp } from "./stamp.js";

/** First moments of what is positive in 5 x 5 pixels. */
export function centroid({ values, side, radius }: Stamp, x: number, y: number): { x: number; y: number } {
  let sum = 0;
  let sumX = 0;
  let sumY = 0;
  for (let dy = -2; dy <= 2; dy++)
    for (let dx = -2; dx <= 2; dx++) {
      const value = values[(y + dy + radius) * side + x + dx + radius]!;
      if (!(value > 0)) continue;
      sum += value;
      sumX += value * dx;
      sumY += value * dy;
    }
  return sum > 0 ? { x: x + sumX / sum, y: y + sumY / sum } : { x, y };
}

/** True when a pixel of a stamp within a distance of a place has no value. */
export function missingNear(stamp: Stamp, x: number, y: number, distance: number): boolean {
  if (stamp.missing === 0) return false;
  const { values, side, radius } = stamp;
  for (let py = Math.max(-radius, Math.ceil(y - distance)); py <= Math.min(radius, y + distance); py++)
    for (let px = Math.max(-radius, Math.ceil(x - distance)); px <= Math.min(radius, x + distance); px++)
      if (Number.isNaN(values[(py + radius) * side + px + radius]!)) return true;
  return false;
}
