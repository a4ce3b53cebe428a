import type { Points } from "./streak-points.js";

/** A line: x normalX + y normalY = distance, in cells. */
export interface Line {
  readonly normalX: number;
  readonly normalY: number;
  readonly distance: number;
}

/** The part of a line that points fill: middle, unit direction, reach from the middle, cells. */
export interface Segment {
  readonly x: number;
  readonly y: number;
  readonly cosine: number;
  readonly sine: number;
  readonly half: number;
  /** Share of the places along it that have a point, of those that no star hides. */
  readonly filled: number;
  /** Numbers of the points on it. */
  readonly used: readonly number[];
}

const widest = 2.5;
/** Cells between a line and the strips beside it that it is compared with. */
const besideCells = 10;
/** Log-likelihood by which a streak must explain the points better than chance does, over all the lines looked at. */
const leastGain = 40;
/** A streak fills at least this share of its places. */
const shareOnStreak = 0.4;

/** Numbers of the free points within a distance of a line. */
export function pointsNear({ x, y }: Points, free: Uint8Array, line: Line, reach: number): number[] {
  const list: number[] = [];
  for (let i = 0; i < x.length; i++)
    if (free[i] === 1 && Math.abs(x[i]! * line.normalX + y[i]! * line.normalY - line.distance) <= reach) list.push(i);
  return list;
}

/**
 * Fits a line to the points near it three times, closer each time, and keeps the part where they are denser than beside
 * it.
 * @returns null when no part is denser than chance explains
 */
export function refineLine(points: Points, free: Uint8Array, guess: Line): Segment | null {
  let line = guess;
  let part: Part | null = null;
  for (const reach of [4, 3, widest]) {
    part = densestPart(points, free, line, reach);
    if (part === null || part.used.length < 8) return null;
    line = lineThrough(points, part.used);
  }
  if (part === null) return null;
  const cosine = -line.normalY;
  const sine = line.normalX;
  const middle = (part.from + part.to) / 2;
  return {
    x: line.normalX * line.distance + cosine * middle,
    y: line.normalY * line.distance + sine * middle,
    cosine,
    sine,
    half: (part.to - part.from) / 2,
    filled: part.filled,
    used: pointsNear(points, free, line, 4),
  };
}

interface Part {
  readonly from: number;
  readonly to: number;
  readonly filled: number;
  readonly used: readonly number[];
}

/**
 * The part of a line with the greatest log-likelihood of "streak" against "chance", place by place (Kadane's maximal
 * sum). Places that a star hides say nothing.
 */
function densestPart(points: Points, free: Uint8Array, line: Line, reach: number): Part | null {
  const { x, y, starlit, width, height } = points;
  const list = pointsNear(points, free, line, reach);
  if (list.length < 8) return null;
  const alongOf = (i: number) => Math.round(-x[i]! * line.normalY + y[i]! * line.normalX);
  const along = list.map(alongOf);
  const from = Math.min(...along);
  const places = Math.max(...along) - from + 1;
  const has = new Uint8Array(places);
  for (const t of along) has[t - from] = 1;
  const hidden = new Uint8Array(places);
  for (let t = 0; t < places; t++) {
    const px = Math.round(line.normalX * line.distance - line.normalY * (t + from));
    const py = Math.round(line.normalY * line.distance + line.normalX * (t + from));
    if (px < 0 || py < 0 || px >= width || py >= height || starlit[py * width + px] === 1) hidden[t] = 1;
  }
  const chance = Math.max(
    ...[-besideCells, besideCells].map((offset) => {
      const strip = pointsNear(points, free, { ...line, distance: line.distance + offset }, reach);
      return new Set(strip.map(alongOf).filter((t) => t >= from && t < from + places)).size / places;
    }),
    0.01,
  );
  const on = Math.max(shareOnStreak, 2 * chance);
  if (on > 0.95) return null;
  const gainWith = Math.log(on / chance);
  const gainWithout = Math.log((1 - on) / (1 - chance));
  let best = 0;
  let bestFrom = 0;
  let bestTo = -1;
  let sum = 0;
  let start = 0;
  for (let t = 0; t < places; t++) {
    sum += has[t] === 1 ? gainWith : hidden[t] === 1 ? 0 : gainWithout;
    if (sum <= 0) {
      sum = 0;
      start = t + 1;
    } else if (sum > best) {
      best = sum;
      bestFrom = start;
      bestTo = t;
    }
  }
  if (best < leastGain) return null;
  let seen = 0;
  let open = 0;
  for (let t = bestFrom; t <= bestTo; t++) {
    if (has[t] === 1) seen++;
    if (has[t] === 1 || hidden[t] === 0) open++;
  }
  const used = list.filter((_, k) => along[k]! - from >= bestFrom && along[k]! - from <= bestTo);
  return { from: bestFrom + from, to: bestTo + from, filled: seen / open, used };
}

/** Line of least squared distances through points. */
function lineThrough({ x, y }: Points, list: readonly number[]): Line {
  let meanX = 0;
  let meanY = 0;
  for (const i of list) {
    meanX += x[i]! / list.length;
    meanY += y[i]! / list.length;
  }
  let xx = 0;
  let xy = 0;
  let yy = 0;
  for (const i of list) {
    xx += (x[i]! - meanX) ** 2;
    xy += (x[i]! - meanX) * (y[i]! - meanY);
    yy += (y[i]! - meanY) ** 2;
  }
  const along = 0.5 * Math.atan2(2 * xy, xx - yy);
  const normalX = -Math.sin(along);
  const normalY = Math.cos(along);
  return { normalX, normalY, distance: meanX * normalX + meanY * normalY };
}
