import type { LightPair } from "./flux-ratio.js";
import type { StarList } from "./star.js";
import { StarGrid } from "./star-grid.js";

/** Light of unseen stars under a star, in errors of a faint star, by how much wider the star is than in the other sub. */
const skyOfWider = 1.5;
const leastSky = 0.1;
const mostSky = 3;
/** What the neighbours' light is reckoned to be is uncertain by this share. */
const uncertain = 0.5;
/** Neighbours farther off than this many FWHM add nothing. */
const farthest = 2.5;
const leastCellPx = 8;

/** What two subs must tell of their stars. */
interface Side {
  readonly stars: StarList;
  readonly fwhmPx?: number;
}

/** How much light of unseen stars there usually is in a sub, beyond what the other holds (as for `fluxRatio`). */
export function usualSky(fwhmPx = Number.NaN, otherPx = Number.NaN): number {
  if (!(fwhmPx > 0 && otherPx > 0)) return 0;
  return Math.min(mostSky, leastSky + skyOfWider * Math.abs(1 - (otherPx / fwhmPx) ** 2));
}

/**
 * Light of a star in both subs, less what a Gaussian weight of each sub's width takes in of the neighbours that the
 * reference shows. Where stars are wide, they hide faint neighbours, whose light would pass for theirs.
 * @returns by the star's number in the reference and in the sub
 */
export function lightsWithoutNeighbours(sub: Side, reference: Side): (i: number, j: number) => LightPair {
  const { xPx, yPx, fluxAdu, fluxErrorAdu, count } = reference.stars;
  const plain = (i: number, j: number) => ({
    flux: sub.stars.fluxAdu[j]!,
    error: sub.stars.fluxErrorAdu[j]!,
    before: fluxAdu[i]!,
    beforeError: fluxErrorAdu[i]!,
  });
  const [width, widthBefore] = [sub.fwhmPx ?? Number.NaN, reference.fwhmPx ?? Number.NaN];
  if (!(width > 0 && widthBefore > 0)) return plain;
  const reach = farthest * Math.max(width, widthBefore);
  let [right, bottom] = [1, 1];
  for (let i = 0; i < count; i++) {
    right = Math.max(right, xPx[i]! + 1);
    bottom = Math.max(bottom, yPx[i]! + 1);
  }
  const grid = new StarGrid(right, bottom, Math.max(leastCellPx, reach), count);
  for (let i = 0; i < count; i++) grid.add(xPx[i]!, yPx[i]!);
  // Two Gaussians of standard deviation s overlap as exp(-d^2 / (4 s^2)).
  const [steepness, steepnessBefore] = [width, widthBefore].map((fwhm) => (2 * Math.LN2) / (fwhm * fwhm)) as [
    number,
    number,
  ];
  return (i, j) => {
    let [near, nearBefore] = [0, 0];
    grid.some(xPx[i]!, yPx[i]!, reach, (other, distance2) => {
      if (other !== i) {
        near += fluxAdu[other]! * Math.exp(-distance2 * steepness);
        nearBefore += fluxAdu[other]! * Math.exp(-distance2 * steepnessBefore);
      }
      return false;
    });
    near /= fluxAdu[i]!;
    nearBefore /= fluxAdu[i]!;
    const { flux, error, before, beforeError } = plain(i, j);
    const without = flux / (1 + near);
    return {
      flux: without,
      error: Math.hypot(error, uncertain * (near - nearBefore) * without),
      before: before / (1 + nearBefore),
      beforeError,
    };
  };
}
