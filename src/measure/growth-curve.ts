import { mostStampRadius, type Stamp } from "./stamp.js";

/** What the growth curve of a star gives. */
export interface Growth {
  /**
   * Half-flux radius of the star as recorded in pixels: the radius around its centre within which half of the light of
   * its profile, averaged over a square pixel, lies. The pixel has blurred it once, as it blurs every recorded star;
   * programs that spread each pixel's light over its square once more give larger radii for sharp stars.
   */
  hfr: number;
  /** Light within the outermost radius. */
  flux: number;
}

const perPixel = 16;
const halfPixel = perPixel / 2;
/**
 * Spreading over +- 0.5 px lowers the enclosed light E(r) where it curves downwards, by E''/24. For a Gaussian, that
 * moves the half-light radius r out by (2 ln 2 - 1) / (24 r) px.
 */
const flatter = (2 * Math.LN2 - 1) / 24;
const profile = new Float64Array((mostStampRadius + 3) * perPixel);

/**
 * Sums a star's light outwards and finds the radius with half of it. Each pixel's light is spread over its radius
 * +- 0.5 px, so the curve is smooth however the star falls on the pixels.
 * @param x - centre of the star, relative to the middle of the stamp
 * @param outer - outermost radius, pixels, at most the stamp's radius - 1
 * @param fraction - share of all light that lies within `outer`, 0 to 1
 * @returns whether there was light
 */
export function growthCurve(
  stamp: Stamp,
  x: number,
  y: number,
  outer: number,
  fraction: number,
  result: Growth,
): boolean {
  const { values, radius, side, kernels, out } = stamp;
  // Nearer than a pixel, all pixels would be the middle one.
  if (kernels !== null && outer >= 1) {
    const at = values.byteOffset;
    if (!kernels.growth(at, radius, x, y, outer, fraction, stamp.weights.byteOffset, out.byteOffset)) return false;
    return describe(out[0]!, out[1]!, outer, result);
  }
  const bins = Math.ceil(outer * perPixel);
  const limit = (outer + 0.5) * (outer + 0.5);
  profile.fill(0, 0, bins + 2 * perPixel);
  let core = 0;
  let coreReach = 1;
  for (let py = Math.max(-radius, Math.ceil(y - outer)); py <= Math.min(radius, y + outer); py++) {
    const dy2 = (py - y) * (py - y);
    const row = (py + radius) * side + radius;
    const reach = Math.sqrt(Math.max(0, limit - dy2));
    for (let px = Math.max(-radius, Math.ceil(x - reach)), end = Math.min(radius, x + reach); px <= end; px++) {
      const value = values[row + px]!;
      if (Number.isNaN(value)) continue;
      const distance = Math.sqrt((px - x) * (px - x) + dy2);
      if (distance >= 0.5) profile[(distance * perPixel) | 0]! += value;
      else {
        core += value;
        coreReach = Math.max(coreReach, halfPixel, ((distance + 0.5) * perPixel) | 0);
      }
    }
  }
  const coreDensity = (core * perPixel) / coreReach;
  const total = walk(bins, coreDensity, coreReach, Number.POSITIVE_INFINITY).sum;
  if (!(total > 0)) return false;
  const half = walk(bins, coreDensity, coreReach, total / (2 * fraction));
  return describe(half.radius, total / perPixel, outer, result);
}

function describe(half: number, light: number, outer: number, result: Growth): boolean {
  result.hfr = half - flatter / half;
  result.flux = light;
  return half > 2 * flatter && half < outer;
}

/** Moves a window of one pixel outwards until the sum of what it saw reaches a target. */
function walk(bins: number, coreDensity: number, coreReach: number, target: number): { sum: number; radius: number } {
  let window = 0;
  let sum = 0;
  for (let k = 0; k < halfPixel; k++) window += profile[k]!;
  for (let k = 0; k < bins; k++) {
    const density = window + (k < coreReach ? coreDensity : 0);
    // A pixel in bin b counts from b - 7 to b + 8: half a bin too far out.
    if (sum + density >= target) return { sum, radius: (k - 0.5 + (target - sum) / density) / perPixel };
    sum += density;
    window += profile[k + halfPixel]! - (k >= halfPixel ? profile[k - halfPixel]! : 0);
  }
  return { sum, radius: Number.NaN };
}
