import type { Stamp } from "./stamp.js";

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
