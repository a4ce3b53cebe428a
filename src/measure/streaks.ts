import { quantile } from "../numbers/quantiles.js";
import { medianAndSigma } from "../numbers/robust.js";
import { Ballot, type BallotSpace, fewestVoters } from "./ballot.js";
import { pointsNear, refineLine, type Segment } from "./streak-line.js";
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

/** Pixels of the frame on a side of a point's cell. */
const cell = 4;
const mostStreaks = 12;
const mostFailures = 4;
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
 * @param space - room for the votes
 */
export function findStreaks(
  points: Points,
  leastLengthPx: number,
  leastFilled: number,
  across: (xPx: number, yPx: number) => number,
  space: BallotSpace,
): Streak[] {
  if (points.x.length < fewestVoters) return [];
  const free = new Uint8Array(points.x.length).fill(1);
  const found: Streak[] = [];
  const ballot = new Ballot(points, space);
  for (let failures = 0; failures < mostFailures && found.length < mostStreaks; failures++) {
    const guess = ballot.strongestLine();
    if (guess === null) break;
    const segment = refineLine(points, free, guess);
    for (const i of segment?.used ?? pointsNear(points, free, guess, 2)) {
      free[i] = 0;
      ballot.withdraw(i);
    }
    if (segment === null || 2 * segment.half * cell < leastLengthPx) continue;
    if (
      segment.filled <
      (2 * segment.half < longShare * Math.hypot(points.width, points.height)
        ? Math.max(0.6, leastFilled)
        : leastFilled)
    )
      continue;
    const widthPx = widthAcross(segment, across);
    if (Number.isNaN(widthPx) || 2 * segment.half * cell < slender * widthPx) continue;
    failures--;
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
  const { median: base, sigma } = medianAndSigma([...profile.subarray(0, 18), ...profile.subarray(-18)]);
  let top = reach;
  for (let i = reach - 8; i <= reach + 8; i++) if (profile[i]! > profile[top]!) top = i;
  // A quantile near the middle has about 1.3 times the standard error of a mean; over a nebula the profile varies more.
  const error = Math.max(1.3 / Math.sqrt(samples), sigma);
  if (!(profile[top]! - base > leastSignificance * error)) return Number.NaN;
  const half = (profile[top]! + base) / 2;
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
