import { gaussianPerStep, gaussianTable } from "./gaussian-table.js";
import type { Stamp } from "./stamp.js";

/** Position and shape of a star from weighted moments, in pixels, relative to the middle of the stamp. */
export interface Moments {
  x: number;
  y: number;
  /** Covariance of the matched elliptical Gaussian. */
  xx: number;
  xy: number;
  yy: number;
  /** All light of a Gaussian star with these moments. */
  flux: number;
}

/** Sums over the pixels under a Gaussian weight, and the moments they give. */
interface Sums {
  light: number;
  x: number;
  y: number;
  xx: number;
  xy: number;
  yy: number;
}

const reach = 10.5;
const mostRounds = 16;
/** A step may be lengthened by so many times the way between two results, or shortened. */
const mostAhead = 4;
const mostBack = 0.5;
/** Of steps that shrink by this factor and more, what all later ones add is reckoned from the last two ... */
const fastShrinking = 0.5;
/** ... and may be this part of a settled change. */
const leftOver = 0.5;
/** The weight is never narrower than this (variance, square pixels): pixels could not sample the product. */
const leastWeight = 1;
/** No star is sharper than a pixel that holds all of it. */
const leastVariance = 1 / 12;
const sums: Sums = { light: 0, x: 0, y: 0, xx: 0, xy: 0, yy: 0 };

/**
 * Adaptive moments: an elliptical Gaussian weight is moved and shaped until it matches the star (after Bernstein &
 * Jarvis 2002, sect. 3; from memory). The values are of the image as recorded: the pixel's own width is in them.
 * @param startX - first guess, relative to the middle of the stamp
 * @param guess - first guess of the covariance
 * @param drift - how far the centre may move from the first guess, pixels
 * @param settledAt - it has settled when moments change by less than this, relative to their size and in pixels, or when
 * all further changes are reckoned to be less
 * @returns whether it settled; `result` is filled only then
 */
export function adaptiveMoments(
  stamp: Stamp,
  startX: number,
  startY: number,
  guess: { readonly xx: number; readonly xy: number; readonly yy: number },
  drift: number,
  settledAt: number,
  result: Moments,
): boolean {
  const { kernels, radius, out } = stamp;
  if (kernels !== null) {
    const { xx, xy, yy } = guess;
    const at = stamp.values.byteOffset;
    if (!kernels.adaptive(at, radius, startX, startY, xx, xy, yy, drift, settledAt, out.byteOffset)) return false;
    take(out, result);
    return true;
  }
  const most = radius * radius;
  let x = startX;
  let y = startY;
  let { xx, xy, yy } = guess;
  let [wasX, wasY, wasXX, wasXY, wasYY] = [0, 0, 0, 0, 0];
  let [movedX, movedY, movedXX, movedXY, movedYY] = [0, 0, 0, 0, 0];
  let lastStep2 = 0;
  for (let round = 0; round < mostRounds; round++) {
    const widen = Math.max(0, leastWeight - (xx + yy) / 2 + Math.hypot((xx - yy) / 2, xy));
    const weightXX = xx + widen;
    const weightYY = yy + widen;
    if (!weigh(stamp, x, y, weightXX, xy, weightYY)) return false;
    // Star and weight are both Gaussian: under the weight the star's offset falls short, by two when they match.
    const moveX = (1 + xx / weightXX) * sums.x;
    const moveY = (1 + yy / weightYY) * sums.y;
    const known = unweigh(weightXX, xy, weightYY, result);
    const nextXX = Math.max(leastVariance, limited(known ? result.xx : 2 * sums.xx, xx));
    const nextYY = Math.max(leastVariance, limited(known ? result.yy : 2 * sums.yy, yy));
    const nextXY = slanted(known ? result.xy : 2 * sums.xy, nextXX, nextYY);
    if (nextXX > most || nextYY > most) return false;
    const [toX, toY] = [x + moveX, y + moveY];
    if (Math.abs(toX - startX) > drift || Math.abs(toY - startY) > drift) return false;
    const [moveXX, moveXY, moveYY] = [nextXX - xx, nextXY - xy, nextYY - yy];
    const change = Math.abs(moveXX) + Math.abs(moveXY) + Math.abs(moveYY);
    if (change < settledAt * (nextXX + nextYY) && Math.abs(sums.x) + Math.abs(sums.y) < settledAt) {
      fill(result, toX, toY, nextXX, nextXY, nextYY);
      return true;
    }
    // The steps of slowly settling stars point one way, or to and fro: the step ahead that would leave the least
    // difference between two steps (Anderson 1965, of depth 1), positions weighed against shapes by the star's size.
    let ahead = 0;
    let isNear = false;
    const size = xx + yy;
    const step2 = size * (moveX * moveX + moveY * moveY) + moveXX * moveXX + 2 * moveXY * moveXY + moveYY * moveYY;
    if (round > 0) {
      const [turnX, turnY] = [moveX - movedX, moveY - movedY];
      const [turnXX, turnXY, turnYY] = [moveXX - movedXX, moveXY - movedXY, moveYY - movedYY];
      const turned = size * (turnX * turnX + turnY * turnY) + turnXX * turnXX + 2 * turnXY * turnXY + turnYY * turnYY;
      const along = size * (moveX * turnX + moveY * turnY) + moveXX * turnXX + 2 * moveXY * turnXY + moveYY * turnYY;
      if (turned > 0) ahead = Math.max(-mostAhead, Math.min(mostBack, along / turned));
      // A geometric series: shrunk / (1 - shrunk) of this step is still to come. The step ahead makes up for most of it.
      const shrunk = Math.sqrt(step2 / lastStep2);
      const enough = (leftOver * settledAt * (1 - shrunk)) / shrunk;
      isNear =
        shrunk < fastShrinking && change < enough * (nextXX + nextYY) && Math.abs(sums.x) + Math.abs(sums.y) < enough;
    }
    x = toX - ahead * (toX - wasX);
    y = toY - ahead * (toY - wasY);
    if (Math.abs(x - startX) > drift || Math.abs(y - startY) > drift) {
      x = toX;
      y = toY;
    }
    xx = Math.max(leastVariance, limited(nextXX - ahead * (nextXX - wasXX), xx));
    yy = Math.max(leastVariance, limited(nextYY - ahead * (nextYY - wasYY), yy));
    xy = slanted(nextXY - ahead * (nextXY - wasXY), xx, yy);
    if (isNear) {
      fill(result, x, y, xx, xy, yy);
      return true;
    }
    lastStep2 = step2;
    [wasX, wasY, wasXX, wasXY, wasYY] = [toX, toY, nextXX, nextXY, nextYY];
    [movedX, movedY, movedXX, movedXY, movedYY] = [moveX, moveY, moveXX, moveXY, moveYY];
  }
  return false;
}

/**
 * The same with a round weight of fixed width that only moves: noisier and less exact for stars of another width, but
 * it settles on faint stars where the adaptive weight runs away.
 * @returns "shape" when all of `result` is filled, "place" when only x and y are, "nothing" when there is no star
 */
export function fixedMoments(
  stamp: Stamp,
  startX: number,
  startY: number,
  sigma: number,
  drift: number,
  result: Moments,
): "shape" | "place" | "nothing" {
  const weight = Math.max(leastWeight, sigma * sigma);
  const { kernels, radius, out } = stamp;
  if (kernels !== null) {
    const got = kernels.fixed(stamp.values.byteOffset, radius, startX, startY, weight, drift, out.byteOffset);
    if (got === 2) take(out, result);
    else if (got === 1) {
      result.x = out[0]!;
      result.y = out[1]!;
    }
    return got === 2 ? "shape" : got === 1 ? "place" : "nothing";
  }
  let x = startX;
  let y = startY;
  for (let round = 0; round < 12; round++) {
    if (!weigh(stamp, x, y, weight, 0, weight)) return "nothing";
    x += 1.7 * sums.x;
    y += 1.7 * sums.y;
    if (Math.abs(x - startX) > drift || Math.abs(y - startY) > drift) return "nothing";
    if (Math.abs(sums.x) + Math.abs(sums.y) < 0.01) break;
  }
  result.x = x;
  result.y = y;
  const most = 16 * weight;
  if (!unweigh(weight, 0, weight, result) || !(result.xx < most && result.yy < most)) return "place";
  if (result.xx < leastVariance || result.yy < leastVariance) return "place";
  fill(result, x, y, result.xx, result.xy, result.yy);
  return "shape";
}

/** Sums light and moments under an elliptical Gaussian weight into `sums`. */
function weigh(stamp: Stamp, x: number, y: number, xx: number, xy: number, yy: number): boolean {
  const { values, radius, side } = stamp;
  const determinant = xx * yy - xy * xy;
  if (!(determinant > 0)) return false;
  const inverseXX = yy / determinant;
  const inverseXY = -xy / determinant;
  const inverseYY = xx / determinant;
  const reachX = Math.sqrt(reach * xx);
  const reachY = Math.sqrt(reach * yy);
  const fromX = Math.max(-radius, Math.ceil(x - reachX));
  const toX = Math.min(radius, Math.floor(x + reachX));
  const fromY = Math.max(-radius, Math.ceil(y - reachY));
  const toY = Math.min(radius, Math.floor(y + reachY));
  let light = 0;
  let sumX = 0;
  let sumY = 0;
  let sumXX = 0;
  let sumXY = 0;
  let sumYY = 0;
  for (let py = fromY; py <= toY; py++) {
    const dy = py - y;
    const row = (py + radius) * side + radius;
    const inY = inverseYY * dy * dy;
    const cross = 2 * inverseXY * dy;
    for (let px = fromX; px <= toX; px++) {
      const dx = px - x;
      const q = inY + (cross + inverseXX * dx) * dx;
      if (q >= reach) continue;
      const value = values[row + px]!;
      if (Number.isNaN(value)) continue;
      const step = q * gaussianPerStep;
      const whole = step | 0;
      const weight = gaussianTable[whole]!;
      const weighted = value * (weight + (gaussianTable[whole + 1]! - weight) * (step - whole));
      light += weighted;
      sumX += weighted * dx;
      sumY += weighted * dy;
      sumXX += weighted * dx * dx;
      sumXY += weighted * dx * dy;
      sumYY += weighted * dy * dy;
    }
  }
  if (!(light > 0)) return false;
  sums.light = light;
  sums.x = sumX / light;
  sums.y = sumY / light;
  sums.xx = sumXX / light - sums.x * sums.x;
  sums.xy = sumXY / light - sums.x * sums.y;
  sums.yy = sumYY / light - sums.y * sums.y;
  return sums.xx > 0 && sums.yy > 0 && sums.xx * sums.yy - sums.xy * sums.xy > 1e-4;
}

/** The star's own covariance: that of star times weight is the inverse of the sum of the inverses. */
function unweigh(weightXX: number, weightXY: number, weightYY: number, result: Moments): boolean {
  const determinant = weightXX * weightYY - weightXY * weightXY;
  const spread = sums.xx * sums.yy - sums.xy * sums.xy;
  const starXX = sums.yy / spread - weightYY / determinant;
  const starXY = -sums.xy / spread + weightXY / determinant;
  const starYY = sums.xx / spread - weightXX / determinant;
  const starDeterminant = starXX * starYY - starXY * starXY;
  if (!(starDeterminant > 1e-6 && starXX > 0 && starYY > 0)) return false;
  result.xx = starYY / starDeterminant;
  result.xy = -starXY / starDeterminant;
  result.yy = starXX / starDeterminant;
  return true;
}

function fill(result: Moments, x: number, y: number, xx: number, xy: number, yy: number): void {
  result.x = x;
  result.y = y;
  result.xx = xx;
  result.xy = xy;
  result.yy = yy;
  result.flux = sums.light * Math.sqrt((xx * yy - xy * xy) / (sums.xx * sums.yy - sums.xy * sums.xy));
}

function take(out: Float64Array, result: Moments): void {
  result.x = out[0]!;
  result.y = out[1]!;
  result.xx = out[2]!;
  result.xy = out[3]!;
  result.yy = out[4]!;
  result.flux = out[5]!;
}

/** A covariance that leaves an ellipse. */
function slanted(xy: number, xx: number, yy: number): number {
  const limit = 0.99 * Math.sqrt(xx * yy);
  return Math.max(-limit, Math.min(limit, xy));
}

/** Not more than four times larger or smaller in one round. */
const limited = (next: number, now: number) => Math.max(now / 4, Math.min(4 * now, next));
