import { median } from "../numbers/quantiles.js";
import { commonElongation, type ElongationVector } from "./elongation.js";
import type { Star } from "./star.js";

/** How stars differ across the frame: 3 x 3 zones, row after row from the first stored row. NaN: too few stars there. */
export interface Zones {
  readonly stars: Float64Array;
  readonly fwhmPx: Float64Array;
  readonly eccentricity: Float64Array;
  readonly angleDeg: Float64Array;
}

const enough = 5;
/** Variance of a square pixel of side 1. */
const pixelVariance = 1 / 12;

/**
 * Widths and elongations by zone, from the moments of all good stars: many more than can be fitted. The scale is set by
 * the frame's FWHM.
 * @param fwhmPx - of the frame
 * @param stars - good stars, in pixels of the level
 */
export function measureZones(stars: readonly Star[], width: number, height: number, fwhmPx: number): Zones {
  const groups = zonesOf(stars, (star) => star, width, height);
  const sizes = groups.map(sizesOf);
  const all = median(sizesOf(stars));
  const elongations = groups.map((group) =>
    group.length >= enough
      ? commonElongation([group.map(vectorOf)])
      : { eccentricity: Number.NaN, angleDeg: Number.NaN },
  );
  return {
    stars: Float64Array.from(groups, (group) => group.length),
    fwhmPx: Float64Array.from(sizes, (own) => (own.length >= enough ? (fwhmPx * median(own)) / all : Number.NaN)),
    eccentricity: Float64Array.from(elongations, (e) => e.eccentricity),
    angleDeg: Float64Array.from(elongations, (e) => e.angleDeg),
  };
}

/** Largest less smallest width of the zones, divided by the frame's; NaN with fewer than five zones measured. */
export function fieldSpread(zones: Zones, fwhmPx: number): number {
  const known = Array.from(zones.fwhmPx).filter((value) => Number.isFinite(value));
  return known.length >= 5 ? (Math.max(...known) - Math.min(...known)) / fwhmPx : Number.NaN;
}

function sizesOf(stars: readonly Star[]): Float64Array {
  const sizes = new Float64Array(stars.length);
  for (let i = 0; i < sizes.length; i++) {
    const { xx, xy, yy } = stars[i]!;
    sizes[i] = Math.sqrt(Math.sqrt(Math.max(0.01, (xx - pixelVariance) * (yy - pixelVariance) - xy * xy)));
  }
  return sizes;
}

/** Elongation vector of a star from its moments, without the pixel's own width. */
export function vectorOf({ xx, xy, yy }: Star): ElongationVector {
  const middle = (xx + yy) / 2 - pixelVariance;
  const difference = (xx - yy) / 2;
  const half = Math.sqrt(difference * difference + xy * xy);
  if (!(middle + half >= 0)) return { cosine: Number.NaN, sine: Number.NaN };
  // Noise may leave the shorter axis less than nothing.
  const length = middle > half ? half / middle : 1;
  return half > 0 ? { cosine: (length * difference) / half, sine: (length * xy) / half } : { cosine: 0, sine: 0 };
}

/** Sorts what has a place in the frame into 3 x 3 zones. */
export function zonesOf<T>(
  items: readonly T[],
  place: (item: T) => { readonly x: number; readonly y: number },
  width: number,
  height: number,
): T[][] {
  const groups: T[][] = Array.from({ length: 9 }, () => []);
  for (const item of items) {
    const { x, y } = place(item);
    const column = Math.min(2, Math.max(0, Math.floor((3 * (x + 0.5)) / width)));
    const row = Math.min(2, Math.max(0, Math.floor((3 * (y + 0.5)) / height)));
    groups[3 * row + column]!.push(item);
  }
  return groups;
}
