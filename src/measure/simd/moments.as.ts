// Place and shape of a star from weighted moments.
import { expMinusHalf, sumsOf } from "./lanes.as";

/** Farther, rounding would add up. */
const mostRows: f64 = 24;

// The sums that weigh() leaves behind.
let light: f64 = 0;
let meanX: f64 = 0;
let meanY: f64 = 0;
let meanXX: f64 = 0;
let meanXY: f64 = 0;
let meanYY: f64 = 0;

/**
 * Sums light and moments under an elliptical Gaussian weight; twin: weigh in moments.ts. The weight is worked out for
 * the first of some rows; from row to row it changes by a factor, which itself changes by a constant factor. Where the
 * weight is so small that these rows cannot bring it above what counts, it stays 0.
 * @param whole - no pixel of the stamp is missing
 */
@inline
function weighPixels(
  stamp: usize,
  radius: i32,
  x: f64,
  y: f64,
  xx: f64,
  xy: f64,
  yy: f64,
  whole: bool,
): bool {
  const determinant = xx * yy - xy * xy;
  if (!(determinant > 0)) return false;
  const perDeterminant = 1 / determinant;
  const inverseXX = f32x4.splat(<f32>(yy * perDeterminant));
  const inverseXY = -xy * perDeterminant;
  const inverseYY = xx * perDeterminant;
  const reachX = Math.sqrt(10.5 * xx);
  const reachY = Math.sqrt(10.5 * yy);
  const fromX = max(-radius, <i32>Math.ceil(x - reachX));
  const toX = min(radius, <i32>Math.floor(x + reachX));
  const fromY = max(-radius, <i32>Math.ceil(y - reachY));
  const toY = min(radius, <i32>Math.floor(y + reachY));
  const stride = <usize>(2 * radius + 1) << 2;
  const lanes = f32x4(0, 1, 2, 3);
  const none = f32x4.splat(0);
  const one = f32x4.splat(1);
  // exp(-10.5 / 2)
  const least = f32x4.splat(0.005247518);
  const far = f32x4.splat(130);
  const last = f32x4.splat(<f32>(<f64>toX - x + 0.25));
  const turn = expMinusHalf(f32x4.splat(<f32>(2 * inverseYY)));
  const cross2 = f32x4.splat(<f32>(2 * inverseXY));
  let s0 = none;
  let sx = none;
  let sy = none;
  let sxx = none;
  let sxy = none;
  let syy = none;
  // Eight standard deviations across the ridge lead from where the weight counts to where single precision ends.
  const block = <i32>Math.min(mostRows, Math.max(8, 8 / Math.sqrt(inverseYY)));
  for (let top = fromY; top <= toY; top += block) {
    const rows = min(block, toY + 1 - top);
    const fromTop = <f64>top - y;
    const inY = f32x4.splat(<f32>(inverseYY * fromTop * fromTop));
    const cross = f32x4.splat(<f32>(2 * inverseXY * fromTop));
    const rise = f32x4.splat(<f32>(inverseYY * (2 * fromTop + 1)));
    const firstRow = stamp + <usize>(top + radius) * stride + ((<usize>(radius + fromX)) << 2);
    let dx = f32x4.add(f32x4.splat(<f32>(<f64>fromX - x)), lanes);
    for (let px = fromX; px <= toX; px += 4) {
      const q = f32x4.add(inY, f32x4.mul(dx, f32x4.add(cross, f32x4.mul(inverseXX, dx))));
      let weight = v128.and(v128.and(f32x4.lt(q, far), f32x4.le(dx, last)), expMinusHalf(q));
      let factor = expMinusHalf(f32x4.add(rise, f32x4.mul(cross2, dx)));
      let at = firstRow + (<usize>(px - fromX) << 2);
      let dy = f32x4.splat(<f32>fromTop);
      let r0 = none;
      let r1 = none;
      let r2 = none;
      for (let row = 0; row < rows; row++) {
        const value = v128.load(at);
        const counts = f32x4.gt(weight, least);
        const inside = whole ? counts : v128.and(counts, f32x4.eq(value, value));
        const weighted = v128.and(inside, f32x4.mul(value, weight));
        const byY = f32x4.mul(weighted, dy);
        r0 = f32x4.add(r0, weighted);
        r1 = f32x4.add(r1, byY);
        r2 = f32x4.add(r2, f32x4.mul(byY, dy));
        weight = f32x4.mul(weight, factor);
        factor = f32x4.mul(factor, turn);
        dy = f32x4.add(dy, one);
        at += stride;
      }
      const byX = f32x4.mul(r0, dx);
      s0 = f32x4.add(s0, r0);
      sy = f32x4.add(sy, r1);
      syy = f32x4.add(syy, r2);
      sx = f32x4.add(sx, byX);
      sxx = f32x4.add(sxx, f32x4.mul(byX, dx));
      sxy = f32x4.add(sxy, f32x4.mul(r1, dx));
      dx = f32x4.add(dx, f32x4.splat(4));
    }
  }
  const first = sumsOf(s0, sx, sy, sxx);
  const second = sumsOf(sxy, syy, none, none);
  light = <f64>f32x4.extract_lane(first, 0);
  if (!(light > 0)) return false;
  const perLight = 1 / light;
  meanX = <f64>f32x4.extract_lane(first, 1) * perLight;
  meanY = <f64>f32x4.extract_lane(first, 2) * perLight;
  meanXX = <f64>f32x4.extract_lane(first, 3) * perLight - meanX * meanX;
  meanXY = <f64>f32x4.extract_lane(second, 0) * perLight - meanX * meanY;
  meanYY = <f64>f32x4.extract_lane(second, 1) * perLight - meanY * meanY;
  return meanXX > 0 && meanYY > 0 && meanXX * meanYY - meanXY * meanXY > 1e-4;
}

function weigh(stamp: usize, radius: i32, x: f64, y: f64, xx: f64, xy: f64, yy: f64): bool {
  return weighPixels(stamp, radius, x, y, xx, xy, yy, false);
}

function weighWhole(stamp: usize, radius: i32, x: f64, y: f64, xx: f64, xy: f64, yy: f64): bool {
  return weighPixels(stamp, radius, x, y, xx, xy, yy, true);
}

let starXX: f64 = 0;
let starXY: f64 = 0;
let starYY: f64 = 0;

/** The star's own covariance; twin: unweigh in moments.ts. */
function unweigh(weightXX: f64, weightXY: f64, weightYY: f64): bool {
  const perDeterminant = 1 / (weightXX * weightYY - weightXY * weightXY);
  const perSpread = 1 / (meanXX * meanYY - meanXY * meanXY);
  const a = meanYY * perSpread - weightYY * perDeterminant;
  const b = weightXY * perDeterminant - meanXY * perSpread;
  const c = meanXX * perSpread - weightXX * perDeterminant;
  const d = a * c - b * b;
  if (!(d > 1e-6 && a > 0 && c > 0)) return false;
  const perD = 1 / d;
  starXX = c * perD;
  starXY = -b * perD;
  starYY = a * perD;
  return true;
}

@inline
function limited(next: f64, now: f64): f64 {
  return Math.max(now / 4, Math.min(4 * now, next));
}

/** A covariance that leaves an ellipse. */
@inline
function slanted(xy: f64, xx: f64, yy: f64): f64 {
  const limit = 0.99 * Math.sqrt(xx * yy);
  return Math.max(-limit, Math.min(limit, xy));
}

function leave(out: usize, x: f64, y: f64, xx: f64, xy: f64, yy: f64): void {
  store<f64>(out, x);
  store<f64>(out, y, 8);
  store<f64>(out, xx, 16);
  store<f64>(out, xy, 24);
  store<f64>(out, yy, 32);
  store<f64>(out, light * Math.sqrt((xx * yy - xy * xy) / (meanXX * meanYY - meanXY * meanXY)), 40);
}

/** Adaptive moments; twin: adaptiveMoments, which explains the steps. `out` receives x, y, xx, xy, yy, flux; `whole`: no pixel is missing. */
export function adaptiveIn(
  whole: bool,
  stamp: usize,
  radius: i32,
  startX: f64,
  startY: f64,
  startXX: f64,
  startXY: f64,
  startYY: f64,
  drift: f64,
  settled: f64,
  out: usize,
): bool {
  const most = <f64>(radius * radius);
  let x = startX;
  let y = startY;
  let xx = startXX;
  let xy = startXY;
  let yy = startYY;
  let wasX: f64 = 0;
  let wasY: f64 = 0;
  let wasXX: f64 = 0;
  let wasXY: f64 = 0;
  let wasYY: f64 = 0;
  let movedX: f64 = 0;
  let movedY: f64 = 0;
  let movedXX: f64 = 0;
  let movedXY: f64 = 0;
  let movedYY: f64 = 0;
  let lastStep2: f64 = 0;
  for (let round = 0; round < 16; round++) {
    const halfDifference = (xx - yy) / 2;
    const widen = Math.max(0, 1 - (xx + yy) / 2 + Math.sqrt(halfDifference * halfDifference + xy * xy));
    const weightXX = xx + widen;
    const weightYY = yy + widen;
    const has = whole
      ? weighWhole(stamp, radius, x, y, weightXX, xy, weightYY)
      : weigh(stamp, radius, x, y, weightXX, xy, weightYY);
    if (!has) return false;
    const moveX = (1 + xx / weightXX) * meanX;
    const moveY = (1 + yy / weightYY) * meanY;
    const known = unweigh(weightXX, xy, weightYY);
    const nextXX = Math.max(1.0 / 12, limited(known ? starXX : 2 * meanXX, xx));
    const nextYY = Math.max(1.0 / 12, limited(known ? starYY : 2 * meanYY, yy));
    const nextXY = slanted(known ? starXY : 2 * meanXY, nextXX, nextYY);
    if (nextXX > most || nextYY > most) return false;
    const toX = x + moveX;
    const toY = y + moveY;
    if (Math.abs(toX - startX) > drift || Math.abs(toY - startY) > drift) return false;
    const moveXX = nextXX - xx;
    const moveXY = nextXY - xy;
    const moveYY = nextYY - yy;
    const change = Math.abs(moveXX) + Math.abs(moveXY) + Math.abs(moveYY);
    if (change < settled * (nextXX + nextYY) && Math.abs(meanX) + Math.abs(meanY) < settled) {
      leave(out, toX, toY, nextXX, nextXY, nextYY);
      return true;
    }
    let ahead: f64 = 0;
    let isNear = false;
    const size = xx + yy;
    const step2 = size * (moveX * moveX + moveY * moveY) + moveXX * moveXX + 2 * moveXY * moveXY + moveYY * moveYY;
    if (round > 0) {
      const turnX = moveX - movedX;
      const turnY = moveY - movedY;
      const turnXX = moveXX - movedXX;
      const turnXY = moveXY - movedXY;
      const turnYY = moveYY - movedYY;
      const turned = size * (turnX * turnX + turnY * turnY) + turnXX * turnXX + 2 * turnXY * turnXY + turnYY * turnYY;
      const along = size * (moveX * turnX + moveY * turnY) + moveXX * turnXX + 2 * moveXY * turnXY + moveYY * turnYY;
      if (turned > 0) ahead = Math.max(-4, Math.min(0.5, along / turned));
      const shrunk = Math.sqrt(step2 / lastStep2);
      const enough = (0.5 * settled * (1 - shrunk)) / shrunk;
      isNear =
        shrunk < 0.5 && change < enough * (nextXX + nextYY) && Math.abs(meanX) + Math.abs(meanY) < enough;
    }
    x = toX - ahead * (toX - wasX);
    y = toY - ahead * (toY - wasY);
    if (Math.abs(x - startX) > drift || Math.abs(y - startY) > drift) {
      x = toX;
      y = toY;
    }
    xx = Math.max(1.0 / 12, limited(nextXX - ahead * (nextXX - wasXX), xx));
    yy = Math.max(1.0 / 12, limited(nextYY - ahead * (nextYY - wasYY), yy));
    xy = slanted(nextXY - ahead * (nextXY - wasXY), xx, yy);
    if (isNear) {
      leave(out, x, y, xx, xy, yy);
      return true;
    }
    lastStep2 = step2;
    wasX = toX;
    wasY = toY;
    wasXX = nextXX;
    wasXY = nextXY;
    wasYY = nextYY;
    movedX = moveX;
    movedY = moveY;
    movedXX = moveXX;
    movedXY = moveXY;
    movedYY = moveYY;
  }
  return false;
}

/** Moments under a round weight that only moves; twin: fixedMoments. 2: shape, 1: place only, 0: nothing. */
export function fixedIn(
  whole: bool,
  stamp: usize,
  radius: i32,
  startX: f64,
  startY: f64,
  weight: f64,
  drift: f64,
  out: usize,
): i32 {
  let x = startX;
  let y = startY;
  for (let round = 0; round < 12; round++) {
    const has = whole
      ? weighWhole(stamp, radius, x, y, weight, 0, weight)
      : weigh(stamp, radius, x, y, weight, 0, weight);
    if (!has) return 0;
    x += 1.7 * meanX;
    y += 1.7 * meanY;
    if (Math.abs(x - startX) > drift || Math.abs(y - startY) > drift) return 0;
    if (Math.abs(meanX) + Math.abs(meanY) < 0.01) break;
  }
  store<f64>(out, x);
  store<f64>(out, y, 8);
  const most = 16 * weight;
  if (!unweigh(weight, 0, weight) || !(starXX < most && starYY < most)) return 1;
  if (starXX < 1.0 / 12 || starYY < 1.0 / 12) return 1;
  leave(out, x, y, starXX, starXY, starYY);
  return 2;
}

/** As `adaptiveIn`, of a stamp in which pixels may be missing. */
export function adaptive(
  stamp: usize,
  radius: i32,
  startX: f64,
  startY: f64,
  startXX: f64,
  startXY: f64,
  startYY: f64,
  drift: f64,
  settled: f64,
  out: usize,
): bool {
  return adaptiveIn(false, stamp, radius, startX, startY, startXX, startXY, startYY, drift, settled, out);
}

/** As `fixedIn`, of a stamp in which pixels may be missing. */
export function fixed(
  stamp: usize,
  radius: i32,
  startX: f64,
  startY: f64,
  weight: f64,
  drift: f64,
  out: usize,
): i32 {
  return fixedIn(false, stamp, radius, startX, startY, weight, drift, out);
}
