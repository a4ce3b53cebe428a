import { median } from "../numbers/quantiles.js";
import { medianAndSigma } from "../numbers/robust.js";
import { fieldLight } from "./field-light.js";
import { relativeScale } from "./flux-scale.js";
import { fitMotion, inverse, type Motion, motionsByTriangles, movedX, movedY } from "./motion.js";
import { lightsWithoutNeighbours, usualSky } from "./neighbour-light.js";
import { offLines } from "./off-lines.js";
import { type StarList, starFlags } from "./star.js";
import { StarGrid } from "./star-grid.js";

/** How a sub lies on, and how bright it is against, another sub of its group. */
export interface StarMatch {
  /** Where the middle of the reference lies in this sub, less where it lies in the reference. */
  readonly shiftXPx: number;
  readonly shiftYPx: number;
  /** Rotation from the reference to this sub, from +x towards +y, -180 to 180. */
  readonly rotationDeg: number;
  /** Stars that both subs show. */
  readonly matches: number;
  /** Scatter of the positions of common stars, one axis. */
  readonly scatterPx: number;
  /** Starlight of this sub divided by the reference's, the mean over the field ({@link fieldLight}). */
  readonly zeroPoint: number;
  /** Standard error of `zeroPoint`, from the scatter of the stars and their stated errors. */
  readonly zeroPointError: number;
}

/** What a comparison needs to know of a sub. */
export interface MatchableSub {
  readonly width: number;
  readonly height: number;
  readonly stars: StarList;
  /** Width of the stars; absent or NaN: not known. */
  readonly fwhmPx?: number;
}

const brightest = 60;
const fewest = 5;
const nearPx = 2.5;
/** Places of stars are no surer than this share of what they are at a signal to noise of one. */
const surest = 0.03;
/** Of the stars in the common part of both fields, of the poorer list, this share must pair; chance pairs a few per cent. */
const leastShare = 0.12;
/** Three stars coincide by making: triangles propose the motions. */
const byMaking = 3;
/** Of the pairs that chance brings, so many standard deviations more are no chance. */
const beyondChance = 6;

/**
 * Finds the stars that two subs share, without a catalogue: similar triangles among the bright stars propose shifts and
 * rotations (any angle, so a field turned upside down after the meridian too), and the one that brings most stars
 * together wins. Brightness plays no part in it, so clouds do no harm as long as stars shine through.
 * @returns null below five common stars, or when so few of the stars coincide that it may be chance
 */
export function matchStars(sub: MatchableSub, reference: MatchableSub): StarMatch | null {
  const from = usable(reference);
  const to = usable(sub);
  if (from.length < fewest || to.length < fewest) return null;
  const grid = new StarGrid(sub.width, sub.height, 16, to.length);
  for (const i of to) grid.add(sub.stars.xPx[i]!, sub.stars.yPx[i]!);
  const few = from.slice(0, brightest);
  let best: Motion | null = null;
  let most = 0;
  for (const motion of motionsByTriangles(places(reference.stars, few), places(sub.stars, to.slice(0, brightest)))) {
    if (!mayBring(motion, most + 1, reference.stars, few, sub, grid, 2 * nearPx)) continue;
    const count = pairsUnder(motion, reference, few, sub, to, grid, 2 * nearPx).length;
    if (count > most) {
      most = count;
      best = motion;
    }
  }
  if (best === null || most < Math.min(fewest, from.length)) return null;
  let pairs = pairsUnder(best, reference, from, sub, to, grid, 2 * nearPx);
  for (let round = 0; round < 3 && pairs.length >= 2; round++) {
    best = fitMotion(
      places(
        reference.stars,
        pairs.map(([i]) => i),
      ),
      places(
        sub.stars,
        pairs.map(([, j]) => j),
      ),
      // Faint stars' places are known to about a width by signal to noise; bright ones' no better than a share of it.
      Float64Array.from(pairs, ([i, j]) => 1 / (surest ** 2 + reference.stars.snr[i]! ** -2 + sub.stars.snr[j]! ** -2)),
    );
    pairs = pairsUnder(best, reference, from, sub, to, grid, nearPx);
  }
  const common = overlapping(best, reference, from, sub, to);
  if (pairs.length < Math.max(fewest, leastShare * common)) return null;
  if (!isBeyondChance(pairs.length, common, Math.max(from.length, to.length), sub)) return null;
  return describe(best, pairs, sub, reference);
}

/**
 * False when as many stars may coincide by chance: those in the common part of the fields each by the share of the field
 * that lies near a star.
 */
function isBeyondChance(pairs: number, common: number, stars: number, { width, height }: MatchableSub): boolean {
  const chance = common * Math.min(1, (stars * Math.PI * nearPx ** 2) / (width * height));
  return pairs > byMaking + chance + beyondChance * Math.sqrt(chance);
}

/** Number of stars of the poorer list that lie in the other's field. */
function overlapping(
  motion: Motion,
  reference: MatchableSub,
  from: readonly number[],
  sub: MatchableSub,
  to: readonly number[],
): number {
  const inside =
    (m: Motion, { xPx, yPx }: StarList, field: MatchableSub) =>
    (i: number) => {
      const x = movedX(m, xPx[i]!, yPx[i]!);
      const y = movedY(m, xPx[i]!, yPx[i]!);
      return x >= 0 && y >= 0 && x < field.width && y < field.height;
    };
  const forth = from.filter(inside(motion, reference.stars, sub)).length;
  return Math.min(forth, to.filter(inside(inverse(motion), sub.stars, reference)).length);
}

function describe(
  motion: Motion,
  pairs: readonly Pair[],
  sub: MatchableSub,
  reference: MatchableSub,
): StarMatch | null {
  const middleX = (reference.width - 1) / 2;
  const middleY = (reference.height - 1) / 2;
  const offX = pairs.map(
    ([i, j]) => sub.stars.xPx[j]! - movedX(motion, reference.stars.xPx[i]!, reference.stars.yPx[i]!),
  );
  const offY = pairs.map(
    ([i, j]) => sub.stars.yPx[j]! - movedY(motion, reference.stars.xPx[i]!, reference.stars.yPx[i]!),
  );
  const lightOf = lightsWithoutNeighbours(sub, reference);
  const ratio = fieldLight(
    pairs.map(([i, j]) => ({
      x: sub.stars.xPx[j]!,
      y: sub.stars.yPx[j]!,
      outward: fromMiddle2(sub, j) - fromMiddle2(reference, i),
      ...lightOf(i, j),
    })),
    sub,
    usualSky(sub.fwhmPx, reference.fwhmPx),
  );
  const scale = relativeScale(pairs, reference.stars, sub.stars);
  return {
    shiftXPx: movedX(motion, middleX, middleY) - middleX + median(offX),
    shiftYPx: movedY(motion, middleX, middleY) - middleY + median(offY),
    rotationDeg: (Math.atan2(motion.sine, motion.cosine) * 180) / Math.PI,
    matches: pairs.length,
    scatterPx: (medianAndSigma(offX).sigma + medianAndSigma(offY).sigma) / 2,
    zeroPoint: scale.scale * ratio.zeroPoint,
    zeroPointError: scale.scale * Math.hypot(ratio.zeroPointError, ratio.zeroPoint * scale.error),
  };
}

/** Square of a star's distance from the frame's middle, in units of the corner's. */
function fromMiddle2({ width, height, stars }: MatchableSub, star: number): number {
  const x = stars.xPx[star]! - (width - 1) / 2;
  const y = stars.yPx[star]! - (height - 1) / 2;
  return (4 * (x * x + y * y)) / (width * width + height * height);
}

/** Numbers of the stars that can be trusted, brightest first. */
function usable({ stars, ...field }: MatchableSub): number[] {
  const bad = starFlags.saturated | starFlags.incomplete | starFlags.extended;
  const sure = Array.from({ length: stars.count }, (_, i) => i)
    .filter((i) => (stars.flags[i]! & bad) === 0 && stars.snr[i]! > 6)
    .sort((a, b) => stars.fluxAdu[b]! - stars.fluxAdu[a]!);
  return offLines(places(stars, sure), field).map((k) => sure[k]!);
}

const places = ({ xPx, yPx }: StarList, numbers: readonly number[]) => ({
  x: Float64Array.from(numbers, (i) => xPx[i]!),
  y: Float64Array.from(numbers, (i) => yPx[i]!),
});

/** Number of a star in the reference, and in the sub. */
type Pair = readonly [number, number];

/** False when a motion brings fewer than so many stars near another; pairs, with each star used once, are no more. */
function mayBring(
  motion: Motion,
  wanted: number,
  { xPx, yPx }: StarList,
  from: readonly number[],
  { width, height }: MatchableSub,
  grid: StarGrid,
  reachPx: number,
): boolean {
  let mayMiss = from.length - wanted;
  for (const i of from) {
    const x = movedX(motion, xPx[i]!, yPx[i]!);
    const y = movedY(motion, xPx[i]!, yPx[i]!);
    const isInside = x >= -reachPx && y >= -reachPx && x <= width + reachPx && y <= height + reachPx;
    if (!(isInside && grid.some(x, y, reachPx, anyStar)) && --mayMiss < 0) return false;
  }
  return true;
}

const anyStar = () => true;

/** Pairs that a motion brings together, each star used once, nearest first. */
function pairsUnder(
  motion: Motion,
  reference: MatchableSub,
  from: readonly number[],
  sub: MatchableSub,
  to: readonly number[],
  grid: StarGrid,
  reachPx: number,
): Pair[] {
  const found: { pair: Pair; distance2: number }[] = [];
  for (const i of from) {
    const x = movedX(motion, reference.stars.xPx[i]!, reference.stars.yPx[i]!);
    const y = movedY(motion, reference.stars.xPx[i]!, reference.stars.yPx[i]!);
    if (x < -reachPx || y < -reachPx || x > sub.width + reachPx || y > sub.height + reachPx) continue;
    let nearest = -1;
    let least = Number.POSITIVE_INFINITY;
    grid.some(x, y, reachPx, (index, distance2) => {
      if (distance2 < least) {
        least = distance2;
        nearest = index;
      }
      return false;
    });
    if (nearest >= 0) found.push({ pair: [i, to[nearest]!], distance2: least });
  }
  const taken = new Set<number>();
  return found
    .sort((a, b) => a.distance2 - b.distance2)
    .filter(({ pair: [, j] }) => !taken.has(j) && taken.add(j))
    .map(({ pair }) => pair);
}
