import { median, quantile } from "../numbers/quantiles.js";
import type { Points } from "./streak-points.js";

/** A bright line across the frame: satellite, aircraft or meteor. */
export interface Streak {
  /** Middle of the part inside the frame. */
  readonly xPx: number;
  readonly yPx: number;
  /** Direction, degrees from +x towards +y, 0 to 180. */
  readonly angleDeg: number;
  readonly lengthPx: number;
  /** Full width at half maximum across. */
  readonly widthPx: number;
}

/** A line through points: middle, unit direction, and how far it reaches from its middle, pixels of the points. */
interface Segment {
  readonly x: number;
  readonly y: number;
  readonly cosine: number;
  readonly sine: number;
  readonly half: number;
  readonly used: readonly number[];
}

/** Pixels of the frame on a side of a point's cell. */
const cell = 4;
const directions = 360;
const mostStreaks = 12;
const widestGap = 12;
/** A line this long (share of the diagonal) is believed at once; a shorter one must be filled better. */
const longShare = 0.4;
/** A streak shines all along: this share of the places on its middle line may be darker than what is asked of it. */
const darkShare = 0.35;
const leastSignificance = 8;
/** How many times longer than wide a streak is. */
const slender = 20;

/**
 * Finds straight lines among points: the Hough transform (Duda & Hart 1972) proposes, a fit through the points near the
 * line refines, and the line counts when it is long, filled, and emptier beside than on it.
 * @param points - in cells of 4 x 4 pixels
 * @param leastLengthPx - shorter lines do not count
 * @param leastFilled - share of the cells along the line that must be among the points
 * @param across - level of the frame, sky taken off, at a place in its pixels, in units of its noise
 */
export function findStreaks(
  points: Points,
  width: number,
  height: number,
  leastLengthPx: number,
  leastFilled: number,
  across: (xPx: number, yPx: number) => number,
): Streak[] {
  const free = new Uint8Array(points.x.length).fill(1);
  const found: Streak[] = [];
  const diagonal = Math.ceil(Math.hypot(width, height));
  const votes = new Uint16Array(directions * (2 * diagonal + 1));
  for (let tries = 0; tries < 3 * mostStreaks && found.length < mostStreaks; tries++) {
    const guess = strongestLine(points, free, diagonal, votes, leastLengthPx / cell);
    if (guess === null) break;
    const segment = refine(points, free, guess, leastLengthPx / cell, leastFilled, longShare * diagonal);
    const taken = segment?.used ?? near(points, free, guess, 2);
    for (const i of taken) free[i] = 0;
    if (segment === null) continue;
    const widthPx = widthAcross(segment, across);
    if (Number.isNaN(widthPx) || 2 * segment.half * cell < slender * widthPx) continue;
    found.push({
      xPx: segment.x * cell + 1.5,
      yPx: segment.y * cell + 1.5,
      angleDeg: ((Math.atan2(segment.sine, segment.cosine) * 180) / Math.PI + 180) % 180,
      lengthPx: 2 * segment.half * cell,
      widthPx,
    });
  }
  return found;
}

/** A line x cos + y sin = distance. */
interface Line {
  readonly normalX: number;
  readonly normalY: number;
  readonly distance: number;
}

function strongestLine(
  { x, y }: Points,
  free: Uint8Array,
  diagonal: number,
  votes: Uint16Array,
  leastLength: number,
): Line | null {
  votes.fill(0);
  const stride = 2 * diagonal + 1;
  let best = 0;
  let bestCell = -1;
  for (let direction = 0; direction < directions; direction++) {
    const cosine = Math.cos((direction * Math.PI) / directions);
    const sine = Math.sin((direction * Math.PI) / directions);
    const base = direction * stride + diagonal + 0.5;
    for (let i = 0; i < x.length; i++) {
      if (free[i] === 0) continue;
      const at = (x[i]! * cosine + y[i]! * sine + base) | 0;
      const count = ++votes[at]!;
      if (count > best) {
        best = count;
        bestCell = at;
      }
    }
  }
  // Chance alone fills a cell with about as many points as cells on a line times their density.
  if (best < Math.max(10, 0.15 * leastLength)) return null;
  const angle = (Math.floor(bestCell / stride) * Math.PI) / directions;
  return { normalX: Math.cos(angle), normalY: Math.sin(angle), distance: (bestCell % stride) - diagonal };
}

function near({ x, y }: Points, free: Uint8Array, line: Line, reach: number): number[] {
  const list: number[] = [];
  for (let i = 0; i < x.length; i++)
    if (free[i] === 1 && Math.abs(x[i]! * line.normalX + y[i]! * line.normalY - line.distance) <= reach) list.push(i);
  return list;
}

/** Fits the line to its points three times, closer each time, and keeps the longest part without gaps. */
function refine(
  points: Points,
  free: Uint8Array,
  guess: Line,
  leastLength: number,
  leastFilled: number,
  long: number,
): Segment | null {
  let line = guess;
  let used: number[] = [];
  for (const reach of [4, 3, 2.5]) {
    used = longestRun(points, line, near(points, free, line, reach));
    if (used.length < 8) return null;
    line = lineThrough(points, used);
  }
  const { x, y } = points;
  const cosine = -line.normalY;
  const sine = line.normalX;
  const along = used.map((i) => x[i]! * cosine + y[i]! * sine);
  const from = Math.min(...along);
  const to = Math.max(...along);
  const length = to - from;
  const filled = new Set(along.map(Math.round)).size / (length + 1);
  if (length < leastLength || filled < (length < long ? Math.max(0.6, leastFilled) : leastFilled)) return null;
  // Beside a streak it is dark; beside a line through a nebula it is not.
  const beside = [-9, 9].map((offset) => {
    const strip = near(points, free, { ...line, distance: line.distance + offset }, 2.5);
    const inside = strip.map((i) => x[i]! * cosine + y[i]! * sine).filter((t) => t >= from && t <= to);
    return new Set(inside.map(Math.round)).size / (length + 1);
  });
  if (Math.max(...beside) > (length < long ? 0.2 : 0.4) * filled) return null;
  const middle = (from + to) / 2;
  return {
    x: line.normalX * line.distance + cosine * middle,
    y: line.normalY * line.distance + sine * middle,
    cosine,
    sine,
    half: length / 2,
    used: near(points, free, line, 4),
  };
}

function longestRun({ x, y }: Points, line: Line, list: readonly number[]): number[] {
  const sorted = list
    .map((i) => ({ i, along: -x[i]! * line.normalY + y[i]! * line.normalX }))
    .sort((a, b) => a.along - b.along);
  let best: readonly [number, number] = [0, 0];
  let start = 0;
  for (let k = 1; k <= sorted.length; k++) {
    if (k < sorted.length && sorted[k]!.along - sorted[k - 1]!.along <= widestGap) continue;
    if (k - start > best[1] - best[0]) best = [start, k];
    start = k;
  }
  return sorted.slice(...best).map(({ i }) => i);
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

/** Full width at half maximum of the profile across the line; NaN when it does not stand out all along. */
function widthAcross(segment: Segment, across: (xPx: number, yPx: number) => number): number {
  const reach = 30;
  const samples = Math.min(400, Math.ceil(2 * segment.half * cell));
  const profile = new Float64Array(2 * reach + 1);
  const values = new Float64Array(samples);
  for (let offset = -reach; offset <= reach; offset++) {
    for (let k = 0; k < samples; k++) {
      const along = ((k + 0.5) / samples - 0.5) * 2 * segment.half;
      const x = (segment.x + along * segment.cosine) * cell + 1.5 - offset * segment.sine;
      const y = (segment.y + along * segment.sine) * cell + 1.5 + offset * segment.cosine;
      values[k] = across(x, y);
    }
    profile[offset + reach] = quantile(values, darkShare);
  }
  const base = median([...profile.subarray(0, 12), ...profile.subarray(-12)]);
  let top = reach;
  for (let i = reach - 8; i <= reach + 8; i++) if (profile[i]! > profile[top]!) top = i;
  const half = (profile[top]! + base) / 2;
  // A quantile near the middle has about 1.3 times the standard error of a mean.
  if (!((profile[top]! - base) * Math.sqrt(samples) > 1.3 * leastSignificance)) return Number.NaN;
  const edge = (step: number) => {
    let i = top;
    while (i > 0 && i < 2 * reach && profile[i]! > half) i += step;
    const beyond = profile[i]!;
    const before = profile[i - step]!;
    return Math.abs(i - top) - (before > beyond ? (half - beyond) / (before - beyond) : 0);
  };
  return edge(1) + edge(-1);
}

/** True when a place lies on a streak: within its width, at least 3 pixels, of its middle line. */
export function isOnStreak(xPx: number, yPx: number, { xPx: x, yPx: y, angleDeg, lengthPx, widthPx }: Streak): boolean {
  const angle = (angleDeg * Math.PI) / 180;
  const along = (xPx - x) * Math.cos(angle) + (yPx - y) * Math.sin(angle);
  const away = (yPx - y) * Math.cos(angle) - (xPx - x) * Math.sin(angle);
  return Math.abs(along) < lengthPx / 2 + 10 && Math.abs(away) < Math.max(3, widthPx);
}
