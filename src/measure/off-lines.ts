import type { Places } from "./motion.js";

/** Pieces of a streak lie nearer to its line than this. */
const nearLinePx = 2.5;
/** A line has so many stars more than chance brings, and so many standard deviations of that. */
const leastOnLine = 10;
const beyondChance = 5;
/** So many lines are looked for: a satellite or two. */
const mostLines = 2;
const rounds = 3;

/**
 * The places without those that stand on a line as only pieces of a streak do. Pieces of a streak that was not known for
 * one pass for stars, many and bright; two subs that carry streaks would be laid streak on streak.
 * @returns the numbers of the places kept, in their order
 */
export function offLines(
  places: Places,
  { width, height }: { readonly width: number; readonly height: number },
): number[] {
  let kept = Array.from(places.x, (_, i) => i);
  for (let line = 0; line < mostLines; line++) {
    const chance = (kept.length * 2 * nearLinePx) / Math.min(width, height);
    const least = leastOnLine + chance + beyondChance * Math.sqrt(chance);
    if (kept.length < least) break;
    let longest: readonly number[] = [];
    for (const star of kept)
      for (const other of nearestOf(places, kept, star)) {
        const on = onLine(places, kept, star, other);
        if (on.length > longest.length) longest = on;
      }
    if (longest.length < least) break;
    const gone = new Set(longest);
    kept = kept.filter((i) => !gone.has(i));
  }
  return kept;
}

/** The two nearest to a star. */
function nearestOf({ x, y }: Places, among: readonly number[], star: number): number[] {
  let [first, second, least, next] = [-1, -1, Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY];
  for (const i of among) {
    const dx = x[i]! - x[star]!;
    const dy = y[i]! - y[star]!;
    const distance2 = dx * dx + dy * dy;
    if (i === star || distance2 >= next) continue;
    if (distance2 < least) {
      [second, next] = [first, least];
      [first, least] = [i, distance2];
    } else [second, next] = [i, distance2];
  }
  return [first, second].filter((i) => i >= 0);
}

/** Stars on the line through two of them; its direction is read anew from the stars found, as two near ones hardly tell it. */
function onLine({ x, y }: Places, among: readonly number[], star: number, other: number): readonly number[] {
  let [middleX, middleY] = [x[star]!, y[star]!];
  let angle = Math.atan2(y[other]! - middleY, x[other]! - middleX);
  let reachPx = 10 * Math.hypot(x[other]! - middleX, y[other]! - middleY);
  let found: number[] = [];
  for (let round = 0; round < rounds; round++) {
    const [cosine, sine] = [Math.cos(angle), Math.sin(angle)];
    found = [];
    let [sumX, sumY] = [0, 0];
    for (const i of among) {
      const [dx, dy] = [x[i]! - middleX, y[i]! - middleY];
      if (Math.abs(dy * cosine - dx * sine) > nearLinePx || Math.abs(dx * cosine + dy * sine) > reachPx) continue;
      found.push(i);
      sumX += x[i]!;
      sumY += y[i]!;
    }
    if (found.length < 2 + round) return [];
    [middleX, middleY] = [sumX / found.length, sumY / found.length];
    let [xx, xy, yy] = [0, 0, 0];
    for (const i of found) {
      const [dx, dy] = [x[i]! - middleX, y[i]! - middleY];
      xx += dx * dx;
      xy += dx * dy;
      yy += dy * dy;
    }
    angle = Math.atan2(2 * xy, xx - yy) / 2;
    reachPx = round === 0 ? 10 * reachPx : Number.POSITIVE_INFINITY;
    // A few stars near one another are no streak; most candidates end here.
    if (round === 0 && found.length < 4) return [];
  }
  return found;
}
