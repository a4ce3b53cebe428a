import { median } from "../numbers/quantiles.js";
import type { Star } from "./star.js";

/** Covariance of a star, in square pixels. */
export interface Shape {
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
}

/** Geometric mean of the standard deviations along both axes. */
export const sigmaOf = ({ xx, xy, yy }: Shape): number => (xx * yy - xy ** 2) ** 0.25;

/** True when a star is clearly wider than the typical one, or has no shape. */
export function isWide(star: Star, { xx, xy, yy }: Shape): boolean {
  return !(yy * star.xx - 2 * xy * star.xy + xx * star.yy <= 2 * 1.5 * (xx * yy - xy * xy));
}

/**
 * Medians of the covariances over the stars whose width is the most common one: stars are alike, while galaxies, blends,
 * knots of nebula and hits of cosmic rays each have their own width.
 */
export function typicalShape(stars: readonly Star[]): Shape {
  if (stars.length === 0) return { xx: Number.NaN, xy: Number.NaN, yy: Number.NaN };
  const bySize = stars.map((star) => ({ star, size: Math.log(star.xx * star.yy - star.xy ** 2) / 4 }));
  bySize.sort((a, b) => a.size - b.size);
  const share = Math.ceil(bySize.length / 3);
  let start = 0;
  let narrowest = Number.POSITIVE_INFINITY;
  for (let i = 0; i + share <= bySize.length; i++) {
    const range = bySize[i + share - 1]!.size - bySize[i]!.size;
    if (range < narrowest) {
      narrowest = range;
      start = i;
    }
  }
  const common = median(bySize.slice(start, start + share).map(({ size }) => size));
  const alike = bySize
    .filter(({ size }) => Math.abs(size - common) < Math.max(0.15, narrowest))
    .map(({ star }) => star);
  return { xx: median(alike.map((s) => s.xx)), xy: median(alike.map((s) => s.xy)), yy: median(alike.map((s) => s.yy)) };
}
