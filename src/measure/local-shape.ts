import { invertPositive } from "../numbers/cholesky.js";
import { quantile } from "../numbers/quantiles.js";
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
  const used = stars.filter(
    (star) =>
      star.flags === 0 &&
      star.peak > 5 * star.sigma &&
      Math.sqrt(star.xx * star.yy - star.xy * star.xy) < mostUsed * size,
  );
  if (used.length < fewest) return () => typical;
  const count = used.length;
  const column = (of: (star: Star) => number) => {
    const values = new Float64Array(count);
    for (let i = 0; i < count; i++) values[i] = of(used[i]!);
    return values;
  };
  const u = column((star) => star.x);
  const v = column((star) => star.y);
  const acrossX = extentOf(u);
  const acrossY = extentOf(v);
  const scale = Math.max(acrossX.half, acrossY.half);
  for (let i = 0; i < count; i++) {
    u[i] = (u[i]! - acrossX.middle) / scale;
    v[i] = (v[i]! - acrossY.middle) / scale;
  }
  // Noise of a covariance in units of the typical one: as the peak's noise, about.
  const noise = column(({ peak, sigma }) => sigma / peak);
  const xx = column((star) => star.xx);
  const xy = column((star) => star.xy);
  const yy = column((star) => star.yy);
  let fitXX: Float64Array = Float64Array.of(typical.xx, 0, 0, 0, 0, 0);
  let fitXY: Float64Array = Float64Array.of(typical.xy, 0, 0, 0, 0, 0);
  let fitYY: Float64Array = Float64Array.of(typical.yy, 0, 0, 0, 0, 0);
  const off = new Float64Array(count);
  const weights = new Float64Array(count);
  for (let round = 0; round < rounds; round++) {
    for (let i = 0; i < count; i++) {
      const offXX = xx[i]! - valueAt(fitXX, u[i]!, v[i]!);
      const offXY = xy[i]! - valueAt(fitXY, u[i]!, v[i]!);
      const offYY = yy[i]! - valueAt(fitYY, u[i]!, v[i]!);
      off[i] = Math.sqrt((offXX * offXX + 2 * offXY * offXY + offYY * offYY) / 2) / size;
    }
    // Of three components of a normal scatter, half lie within 1.09 of the root mean square of two.
    const scatter = Math.max(leastScatter, quantile(off, 0.5) / 1.09);
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
  return (x, y) => {
    const atU = (x - acrossX.middle) / scale;
    const atV = (y - acrossY.middle) / scale;
    const xx = valueAt(fitXX, atU, atV);
    const xy = valueAt(fitXY, atU, atV);
    const yy = valueAt(fitYY, atU, atV);
    const area = xx > 0 && yy > 0 ? (xx * yy - xy * xy) / (size * size) : 0;
    if (!(area > leastArea ** 2 && area < mostArea ** 2)) return typical;
    local.xx = xx;
    local.xy = xy;
    local.yy = yy;
    return local;
  };
}

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

const valueAt = (fit: Float64Array, u: number, v: number) =>
  fit[0]! + fit[1]! * u + fit[2]! * v + fit[3]! * u * u + fit[4]! * u * v + fit[5]! * v * v;

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
