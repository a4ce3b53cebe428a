import { median, quantile } from "../numbers/quantiles.js";
import type { Background } from "./background.js";
import type { Star } from "./star.js";

const enoughStars = 5;
/** With this many stars expected in a mesh, their absence says something. */
const manyStars = 4;

/**
 * Fraction of the frame that shows neither stars nor sky. What sky looks like is learnt where the stars are, so that a
 * frame more than half covered is still told. A mesh without stars counts when it has no sky level at all, or is darker:
 * by the noise of a sum where many stars should be, and else by three times that and less noisy by 0.7 too. Vignetting
 * does neither.
 * @param stars - stars that count, in pixels of their level
 * @param side - pixels of the frame on a side of the pixels that stars are counted in
 * @returns NaN when the frame has no sky level
 */
export function blockedFraction(background: Background, stars: readonly Star[], side: number): number {
  const { level, meshLevel, meshSigma, empty, medianLevel, medianSigma } = background;
  const { across, down } = level;
  if (!(medianSigma > 0)) return Number.NaN;
  const counts = new Float64Array(across * down);
  const meshes: number[] = [];
  for (const star of stars) {
    const column = Math.floor((star.x * side * across) / (2 * level.width));
    const row = Math.floor((star.y * side * down) / (2 * level.height));
    if (column < 0 || row < 0 || column >= across || row >= down) continue;
    counts[row * across + column]!++;
    meshes.push(row * across + column);
  }
  const learnt = meshes.length >= enoughStars;
  // The upper quartile: meshes at the edge of what covers the frame have stars too, and a level in between.
  const skyLevel = learnt
    ? quantile(
        meshes.map((mesh) => meshLevel[mesh]!),
        0.75,
      )
    : medianLevel;
  // At such an edge the scatter holds the step too; sky is hardly twice as noisy as what covers it.
  const seenSigma = learnt ? median(meshes.map((mesh) => meshSigma[mesh]!)) : medianSigma;
  const skySigma = Math.min(seenSigma, 2 * medianSigma);
  const expected = meshes.length / Math.max(1, counts.filter((count) => count > 0).length);
  let blocked = 0;
  for (let mesh = 0; mesh < counts.length; mesh++) {
    if (counts[mesh]! > 0) continue;
    const lower = (skyLevel - meshLevel[mesh]!) / skySigma;
    const quiet = meshSigma[mesh]! / skySigma;
    if (empty[mesh] === 1 || (expected >= manyStars ? lower > 1 : lower > 3 && quiet < 0.7)) blocked++;
  }
  return blocked / counts.length;
}
