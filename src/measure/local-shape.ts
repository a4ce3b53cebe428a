import { invertPositive } from "../numbers/cholesky.js";
import { quantile } from "../numbers/quantiles.js";
import type { Star } from "./star.js";

/** Covariance of a star as recorded. */
export interface Shape {
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
}

/** What stars look like at a place of the frame. */
export type ShapeAt = (x: number, y: number) => Shape;

/** 1, u, v, u^2, uv, v^2: what coma, tilt, curvature and a turning field do to covariances, at second order. */
const terms = 6;
/** Fewer stars say nothing about where in the frame they stand. */
const fewest = 10;
/** Terms are held near nothing by this much of the typical covariance, where few stars speak for more. */
const usualTerm = 0.5;
/** Shapes of even the brightest stars scatter by this share of the typical covariance. */
const leastScatter = 0.03;
/** Pieces of a streak are drawn out too, and many: what covers this many times the typical area is not asked. */
const mostUsed = 1.9;
const rounds = 6;
/** A place where stars would be this much smaller or larger in area than the typical one is not believed. */
const [leastArea, mostArea] = [0.4, 8];

/**
 * How the shape of stars changes across the frame: covariances as quadratic functions of the place, fitted to the stars,
 * with what is unlike its surroundings (galaxies, blends, hits of cosmic rays) counting little.
 * @param stars - with a shape and without flags are used
 * @param typical - what a place is given where nothing better is known
 */
export function localShapes(stars: readonly Star[], typical: Shape): ShapeAt {
  const size = Math.sqrt(typical.xx * typical.yy - typical.xy * typical.xy);
  const used = stars.filter(
    (star) =>
      star.flags === 0 &&
      star.peak > 5 * star.sigma &&
      Math.sqrt(star.xx * star.yy - star.xy * star.xy) < mostUsed * size,
  );
  if (used.length < fewest) return () => typical;
  const extent = (of: (star: Star) => number) => {
    const [low, high] = [quantile(used.map(of), 0), quantile(used.map(of), 1)];
    return { middle: (low + high) / 2, half: Math.max(1, (high - low) / 2) };
  };
  const [acrossX, acrossY] = [extent((star) => star.x), extent((star) => star.y)];
  const scale = Math.max(acrossX.half, acrossY.half);
  const rowOf = (x: number, y: number): readonly number[] => {
    const [u, v] = [(x - acrossX.middle) / scale, (y - acrossY.middle) / scale];
    return [1, u, v, u * u, u * v, v * v];
  };
  const rows = used.map(({ x, y }) => rowOf(x, y));
  // Noise of a covariance in units of the typical one: as the peak's noise, about.
  const noise = used.map(({ peak, sigma }) => sigma / peak);
  const values = [(star: Star) => star.xx, (star: Star) => star.xy, (star: Star) => star.yy].map((of) => used.map(of));
  const base = [typical.xx, typical.xy, typical.yy];
  let fits = base.map((value) => [value, 0, 0, 0, 0, 0]);
  const at = (fit: readonly number[], row: readonly number[]) => fit.reduce((sum, c, k) => sum + c * row[k]!, 0);
  for (let round = 0; round < rounds; round++) {
    const off = used.map((_, i) => {
      const [xx, xy, yy] = fits.map((fit, k) => values[k]![i]! - at(fit, rows[i]!));
      return Math.sqrt((xx! * xx! + 2 * xy! * xy! + yy! * yy!) / 2) / size;
    });
    // Of three components of a normal scatter, half lie within 1.09 of the root mean square of two.
    const scatter = Math.max(leastScatter, quantile(off, 0.5) / 1.09);
    const weights = off.map((value, i) => {
      const error = Math.hypot(scatter, noise[i]!);
      return 1 / (error * error * (1 + (value / (2 * error)) ** 2) ** 2);
    });
    const normal = new Float64Array(terms * terms);
    const right = fits.map(() => new Float64Array(terms));
    for (let i = 0; i < used.length; i++)
      for (let a = 0; a < terms; a++) {
        const weighted = weights[i]! * rows[i]![a]!;
        for (let b = 0; b < terms; b++) normal[a * terms + b]! += weighted * rows[i]![b]!;
        for (const [k, sums] of right.entries()) sums[a]! += weighted * (values[k]![i]! - base[k]!);
      }
    for (let a = 1; a < terms; a++) normal[a * terms + a]! += 1 / usualTerm ** 2;
    const inverse = invertPositive(normal, terms);
    if (inverse === null) return () => typical;
    fits = right.map((sums, k) =>
      Array.from({ length: terms }, (_, a) => {
        let sum = a === 0 ? base[k]! : 0;
        for (let b = 0; b < terms; b++) sum += inverse.inverse[a * terms + b]! * sums[b]!;
        return sum;
      }),
    );
  }
  return (x, y) => {
    const row = rowOf(x, y);
    const [xx, xy, yy] = fits.map((fit) => at(fit, row)) as [number, number, number];
    const area = xx > 0 && yy > 0 ? (xx * yy - xy * xy) / (size * size) : 0;
    return area > leastArea ** 2 && area < mostArea ** 2 ? { xx, xy, yy } : typical;
  };
}
