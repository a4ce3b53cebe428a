import { median } from "../numbers/quantiles.js";
import { commonElongation, elongationVector } from "./elongation.js";
import { axesOf, type Star } from "./star.js";

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
  const all = median(stars.map(sizeOf));
  const elongations = groups.map((group) =>
    group.length >= enough
      ? commonElongation([group.map(vectorOf)])
      : { eccentricity: Number.NaN, angleDeg: Number.NaN },
  );
  return {
    stars: Float64Array.from(groups, (group) => group.length),
    fwhmPx: Float64Array.from(groups, (group) =>
      group.length >= enough ? (fwhmPx * median(group.map(sizeOf))) / all : Number.NaN,
    ),
    eccentricity: Float64Array.from(elongations, (e) => e.eccentricity),
    angleDeg: Float64Array.from(elongations, (e) => e.angleDeg),
  };
}

/** Largest less smallest width of the zones, divided by the frame's; NaN with fewer than five zones measured. */
export function fieldSpread(zones: Zones, fwhmPx: number): number {
  const known = Array.from(zones.fwhmPx).filter((value) => Number.isFinite(value));
  return known.length >= 5 ? (Math.max(...known) - Math.min(...known)) / fwhmPx : Number.NaN;
}

const sizeOf = ({ xx, xy, yy }: Star) => Math.max(0.01, (xx - pixelVariance) * (yy - pixelVariance) - xy * xy) ** 0.25;

/** Elongation vector of a star from its moments, without the pixel's own width. */
export function vectorOf(star: Star): ReturnType<typeof elongationVector> {
  const { major, minor, angle } = axesOf(star.xx - pixelVariance, star.xy, star.yy - pixelVariance);
  return elongationVector(major, minor, angle);
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
