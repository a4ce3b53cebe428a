import type { Stamp } from "./stamp.js";

/** A pixel is foreign from so many standard deviations above twice its mirror pixel on. */
const clearlyMore = 5;
/** Foreign light above this share of a star's own cannot be taken off well enough. */
const mostForeign = 0.05;
/** Around a star whose aperture would hold this share of its light as glow, its growth curve cannot be trusted. */
const mostGlow = 0.06;
/** Glow is believed from so many of its errors on. */
const sureGlow = 3;
/** Values around the star count up to so many standard deviations, so that a neighbour there is not taken for glow. */
const countedSigmas = 3;

/**
 * Light in a star's aperture that is not the star's: neighbours and hot pixels, found as pixels much brighter than those
 * opposite across the star's centre, which the star lights as much. Such light differs from frame to frame with the
 * turn of the field and would pass for starlight.
 * @param x - centre of the star, relative to the middle of the stamp
 * @param outer - radius of the aperture; within a third of it nothing is looked for, as there the star itself is steep
 * @param sigma - noise of a pixel
 * @param flux - the star's light
 * @returns what to take off the aperture's light; NaN when the star stands on a glow or there is too much of it
 */
export function foreignLight(stamp: Stamp, x: number, y: number, outer: number, sigma: number, flux: number): number {
  const { values, radius, side, kernels, out } = stamp;
  if (kernels !== null) {
    kernels.foreign(values.byteOffset, radius, x, y, outer, sigma, out.byteOffset);
    return trusted(out[0]!, out[1]!, out[2]!, outer, sigma, flux);
  }
  const core2 = (outer * outer) / 9;
  const outer2 = outer * outer;
  const [mirrorX, mirrorY] = [Math.round(2 * x), Math.round(2 * y)];
  const most = countedSigmas * sigma;
  let foreign = 0;
  let around = 0;
  let pixels = 0;
  for (let py = -radius; py <= radius; py++)
    for (let px = -radius; px <= radius; px++) {
      const value = values[(py + radius) * side + px + radius]!;
      const distance2 = (px - x) * (px - x) + (py - y) * (py - y);
      if (Number.isNaN(value) || distance2 < core2) continue;
      if (distance2 > outer2) {
        around += Math.max(-most, Math.min(most, value));
        pixels++;
        continue;
      }
      const otherX = mirrorX - px;
      const otherY = mirrorY - py;
      if (Math.abs(otherX) > radius || Math.abs(otherY) > radius) continue;
      const other = values[(otherY + radius) * side + otherX + radius]!;
      if (value > 2 * Math.max(0, other) + clearlyMore * sigma) foreign += value - other;
    }
  return trusted(foreign, around, pixels, outer, sigma, flux);
}

/** The foreign light, or NaN when there is too much of it or too much glow. */
function trusted(foreign: number, around: number, pixels: number, outer: number, sigma: number, flux: number): number {
  const area = Math.PI * outer * outer;
  const glow = pixels > 0 ? (area * around) / pixels : 0;
  const glowError = pixels > 0 ? (area * sigma) / Math.sqrt(pixels) : 0;
  return foreign > mostForeign * flux || glow > mostGlow * flux + sureGlow * glowError ? Number.NaN : foreign;
}
