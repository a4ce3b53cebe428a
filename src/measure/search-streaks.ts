import type { Background } from "./background.js";
import type { Found } from "./find-stars.js";
import type { Levels } from "./levels.js";
import { type Points, streakPoints, type Typical } from "./streak-points.js";
import { findStreaks, isOnStreak, type Streak } from "./streaks.js";

const leastLengthPx = 120;
/** A streak crosses at least this share of the frame's diagonal. */
const leastShare = { bright: 0.2, faint: 0.1 };
/** By how many sigma of a sum over 4 x 4 pixels a place stands out. */
const standsOut = { bright: 6, faint: 2.5 };
/** This share of the cells along it stand out. */
const leastFilled = { bright: 0.65, faint: 0.2 };
const fwhmPerSigma = 2.3548;
const unknown: Typical = { xx: 2, xy: 0, yy: 2 };

/** Streaks so bright that their pieces would be taken for the frame's typical stars; looked for before stars are. */
export function brightStreaks(levels: Levels, background: Background): Streak[] {
  if (levels.count < 2 || !(background.medianSigma > 0)) return [];
  return search(
    levels,
    background,
    streakPoints(levels.level(1).sums, background, standsOut.bright, [], unknown, levels.space),
    "bright",
    0,
  );
}

/** Streaks down to a fraction of the noise of a pixel, when it is known where the stars are. */
export function faintStreaks(
  levels: Levels,
  background: Background,
  { stars, typical }: Found,
  known: readonly Streak[],
): Streak[] {
  if (levels.count < 2 || !(background.medianSigma > 0)) return [];
  const shape = typical.xx > 0 ? typical : unknown;
  // Trailed stars are no streaks.
  const longest = 10 * fwhmPerSigma * Math.sqrt(Math.max(shape.xx, shape.yy));
  const points = streakPoints(levels.level(1).sums, background, standsOut.faint, stars, shape, levels.space);
  const isNew = (_: number, i: number) =>
    !known.some((streak) =>
      isOnStreak(4 * points.x[i]! + 1.5, 4 * points.y[i]! + 1.5, { ...streak, widthPx: 3 * streak.widthPx }),
    );
  const fresh = known.length === 0 ? points : { ...points, x: points.x.filter(isNew), y: points.y.filter(isNew) };
  return search(levels, background, fresh, "faint", longest);
}

/** The width is taken from the 2 x 2 sums, on which a colour mosaic has no pattern. */
function search(
  levels: Levels,
  background: Background,
  points: Points,
  kind: "bright" | "faint",
  longestStarPx: number,
): Streak[] {
  const coarse = levels.level(1).sums;
  const fine = levels.level(0).sums;
  const least = Math.max(leastLengthPx, leastShare[kind] * 4 * Math.hypot(coarse.width, coarse.height), longestStarPx);
  const across = (xPx: number, yPx: number) => {
    const x = Math.round((xPx - 0.5) / 2);
    const y = Math.round((yPx - 0.5) / 2);
    const inside = x >= 0 && y >= 0 && x < fine.width && y < fine.height;
    return inside
      ? (fine.values[y * fine.width + x]! - background.level.at(x, y)) / background.medianSigma
      : Number.NaN;
  };
  return findStreaks(points, least, leastFilled[kind], across, levels.space);
}
