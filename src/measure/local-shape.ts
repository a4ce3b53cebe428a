import { invertPositive } from "../numbers/cholesky.js";
import { medianNear } from "../numbers/quantiles.js";
import type { Star } from "./star.js";

/** Covariance of a star as recorded. */
export interface Shape {
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
}

/** What stars look like at a place of the frame; the next call may overwrite what it gave. */
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
  const used = stars.filter((star) => isUsed(star, size));
  if (used.length < fewest) return () => typical;
  const count = used.length;
  const [u, v, xx, xy, yy, noise] = columnsOf(used);
  const acrossX = extentOf(u);
  const acrossY = extentOf(v);
  const scale = Math.max(acrossX.half, acrossY.half);
  for (let i = 0; i < count; i++) {
    u[i] = (u[i]! - acrossX.middle) / scale;
    v[i] = (v[i]! - acrossY.middle) / scale;
  }
  let fitXX: Float64Array = Float64Array.of(typical.xx, 0, 0, 0, 0, 0);
  let fitXY: Float64Array = Float64Array.of(typical.xy, 0, 0, 0, 0, 0);
  let fitYY: Float64Array = Float64Array.of(typical.yy, 0, 0, 0, 0, 0);
  const off = new Float64Array(count);
  const weights = new Float64Array(count);
  let middle = Number.NaN;
  for (let round = 0; round < rounds; round++) {
    off.fill(0);
    addSquares(off, fitXX, u, v, xx, 0.5);
    addSquares(off, fitXY, u, v, xy, 1);
    addSquares(off, fitYY, u, v, yy, 0.5);
    for (let i = 0; i < count; i++) off[i] = Math.sqrt(off[i]!) / size;
    // Of three components of a normal scatter, half lie within 1.09 of the root mean square of two.
    middle = medianNear(off, middle);
    const scatter = Math.max(leastScatter, middle / 1.09);
    for (let i = 0; i < count; i++) {
      const error2 = scatter * scatter + noise[i]! * noise[i]!;
      const inErrors = 1 + (off[i]! * off[i]!) / (4 * error2);
      weights[i] = 1 / (error2 * inErrors * inErrors);
    }
    const inverse = invertPositive(normalMatrix(u, v, weights), terms);
    if (inverse === null) return () => typical;
    fitXX = fitted(inverse.inverse, u, v, weights, xx, typical.xx);
    fitXY = fitted(inverse.inverse, u, v, weights, xy, typical.xy);
    fitYY = fitted(inverse.inverse, u, v, weights, yy, typical.yy);
  }
  const local = { xx: 0, xy: 0, yy: 0 };
  const [a0, a1, a2, a3, a4, a5] = fitXX as unknown as Terms;
  const [b0, b1, b2, b3, b4, b5] = fitXY as unknown as Terms;
  const [c0, c1, c2, c3, c4, c5] = fitYY as unknown as Terms;
  return (x, y) => {
    const u = (x - acrossX.middle) / scale;
    const v = (y - acrossY.middle) / scale;
    const xx = a0 + a1 * u + a2 * v + a3 * u * u + a4 * u * v + a5 * v * v;
    const xy = b0 + b1 * u + b2 * v + b3 * u * u + b4 * u * v + b5 * v * v;
    const yy = c0 + c1 * u + c2 * v + c3 * u * u + c4 * u * v + c5 * v * v;
    const area = xx > 0 && yy > 0 ? (xx * yy - xy * xy) / (size * size) : 0;
    if (!(area > leastArea ** 2 && area < mostArea ** 2)) return typical;
    local.xx = xx;
    local.xy = xy;
    local.yy = yy;
    return local;
  };
}

const isUsed = (star: Star, size: number): boolean =>
  star.flags === 0 && star.peak > 5 * star.sigma && Math.sqrt(star.xx * star.yy - star.xy * star.xy) < mostUsed * size;

/** Places, covariances and their noise, in units of the typical covariance: as the peak's noise, about. */
function columnsOf(stars: readonly Star[]): Columns {
  const columns = Array.from({ length: 6 }, () => new Float64Array(stars.length)) as Columns;
  const [u, v, xx, xy, yy, noise] = columns;
  for (let i = 0; i < stars.length; i++) {
    const star = stars[i]!;
    u[i] = star.x;
    v[i] = star.y;
    xx[i] = star.xx;
    xy[i] = star.xy;
    yy[i] = star.yy;
    noise[i] = star.sigma / star.peak;
  }
  return columns;
}

type Terms = readonly [number, number, number, number, number, number];
type Columns = [Float64Array, Float64Array, Float64Array, Float64Array, Float64Array, Float64Array];

/** Middle and half of a range, of at least 1. */
function extentOf(values: Float64Array): { readonly middle: number; readonly half: number } {
  let low = Number.POSITIVE_INFINITY;
  let high = Number.NEGATIVE_INFINITY;
  for (let i = 0; i < values.length; i++) {
    low = Math.min(low, values[i]!);
    high = Math.max(high, values[i]!);
  }
  return { middle: (low + high) / 2, half: Math.max(1, (high - low) / 2) };
}

/** Adds a share of the squares of what values differ from a fit. */
function addSquares(
  to: Float64Array,
  fit: Float64Array,
  u: Float64Array,
  v: Float64Array,
  values: Float64Array,
  share: number,
): void {
  const [f0, f1, f2, f3, f4, f5] = fit as unknown as Terms;
  for (let i = 0; i < to.length; i++) {
    const x = u[i]!;
    const y = v[i]!;
    const off = values[i]! - (f0 + f1 * x + f2 * y + f3 * x * x + f4 * x * y + f5 * y * y);
    to[i]! += share * off * off;
  }
}

/** Matrix of the weighted least-squares fit, its diagonal raised by what holds the terms; the lower triangle is filled. */
function normalMatrix(u: Float64Array, v: Float64Array, weights: Float64Array): Float64Array {
  // Sums of weight times powers of u and v, named by the powers.
  let w00 = 0;
  let w10 = 0;
  let w01 = 0;
  let w20 = 0;
  let w11 = 0;
  let w02 = 0;
  let w30 = 0;
  let w21 = 0;
  let w12 = 0;
  let w03 = 0;
  let w40 = 0;
  let w31 = 0;
  let w22 = 0;
  let w13 = 0;
  let w04 = 0;
  for (let i = 0; i < weights.length; i++) {
    const w = weights[i]!;
    const wu = w * u[i]!;
    const wv = w * v[i]!;
    const uu = u[i]! * u[i]!;
    const uv = u[i]! * v[i]!;
    const vv = v[i]! * v[i]!;
    w00 += w;
    w10 += wu;
    w01 += wv;
    w20 += w * uu;
    w11 += w * uv;
    w02 += w * vv;
    w30 += wu * uu;
    w21 += wu * uv;
    w12 += wu * vv;
    w03 += wv * vv;
    w40 += w * uu * uu;
    w31 += w * uu * uv;
    w22 += w * uu * vv;
    w13 += w * uv * vv;
    w04 += w * vv * vv;
  }
  const held = 1 / usualTerm ** 2;
  const none = 0;
  return Float64Array.of(
    ...[w00, none, none, none, none, none],
    ...[w10, w20 + held, none, none, none, none],
    ...[w01, w11, w02 + held, none, none, none],
    ...[w20, w30, w21, w40 + held, none, none],
    ...[w11, w21, w12, w31, w22 + held, none],
    ...[w02, w12, w03, w22, w13, w04 + held],
  );
}

/** The terms that fit values best; `base` is what the constant one is held near. */
function fitted(
  inverse: Float64Array,
  u: Float64Array,
  v: Float64Array,
  weights: Float64Array,
  values: Float64Array,
  base: number,
): Float64Array {
  let s0 = 0;
  let s1 = 0;
  let s2 = 0;
  let s3 = 0;
  let s4 = 0;
  let s5 = 0;
  for (let i = 0; i < weights.length; i++) {
    const off = weights[i]! * (values[i]! - base);
    const offU = off * u[i]!;
    const offV = off * v[i]!;
    s0 += off;
    s1 += offU;
    s2 += offV;
    s3 += offU * u[i]!;
    s4 += offU * v[i]!;
    s5 += offV * v[i]!;
  }
  const sums = [s0, s1, s2, s3, s4, s5];
  return Float64Array.from({ length: terms }, (_, a) =>
    sums.reduce((sum, value, b) => sum + inverse[a * terms + b]! * value, a === 0 ? base : 0),
  );
}
