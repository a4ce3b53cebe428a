import type { Background } from "./background.js";
import type { Star } from "./star.js";

/**
 * Fraction of the frame that shows neither stars nor sky. A mesh counts when no star lies in it or beside it, and it has
 * no sky level at all, or is darker and quieter than the frame as far as its neighbours without stars leave no doubt.
 * Vignetting alone does not count: where stars are many, their absence is asked for; where they are few, the noise must
 * have dropped to less than 0.7 of the frame's.
 * @param side - pixels of the frame on a side of the pixels that stars are counted in
 */
export function blockedFraction(background: Background, stars: readonly Star[], side: number): number {
  const { level, sigma, empty, medianLevel, medianSigma } = background;
  const { across, down } = level;
  if (!(medianSigma > 0)) return Number.NaN;
  const counts = new Float64Array(across * down);
  for (const star of stars) {
    const column = Math.min(across - 1, Math.floor((star.x * side * across) / (2 * level.width)));
    const row = Math.min(down - 1, Math.floor((star.y * side * down) / (2 * level.height)));
    if (column >= 0 && row >= 0) counts[row * across + column]!++;
  }
  let blocked = 0;
  const expected = (9 * stars.length) / (across * down);
  for (let row = 0; row < down; row++)
    for (let column = 0; column < across; column++) {
      const mesh = row * across + column;
      if (empty[mesh] === 1 && counts[mesh] === 0) {
        blocked++;
        continue;
      }
      if (starsAround(counts, across, down, column, row) > 0) continue;
      const lower = (medianLevel - level.values[mesh]!) / medianSigma;
      const quiet = sigma.values[mesh]! / medianSigma;
      if (expected >= 6 ? lower > 1 : lower > 3 && quiet < 0.7) blocked++;
    }
  return blocked / (across * down);
}

function starsAround(counts: Float64Array, across: number, down: number, column: number, row: number): number {
  let sum = 0;
  for (let y = Math.max(0, row - 1); y <= Math.min(down - 1, row + 1); y++)
    for (let x = Math.max(0, column - 1); x <= Math.min(across - 1, column + 1); x++) sum += counts[y * across + x]!;
  return sum;
}
