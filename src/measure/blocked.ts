import { median } from "../numbers/quantiles.js";
import type { Background } from "./background.js";
import { type Cell, type CellMap, cellMap } from "./cell-map.js";
import type { SumPlane } from "./frame-buffers.js";
import type { Star } from "./star.js";

/** A rise of the sky over four cells is an edge when it is this much steeper than most of the frame, */
const steeper = 5;
/** and this many times the noise of a pixel. */
const leastStep = 1.5;
/** A part may hold this share of the stars that the rest of the frame lets expect, and still count as covered. */
const fewStars = 0.1;
/** The same of a part that is darker. */
const falseStars = 0.25;
/** A part that is not darker than the sky counts as covered when so many stars are missing there. */
const enoughMissing = 8;
/** Parts of fewer cells than this say nothing. */
const leastCells = 3;
/** What covers less than this share of the frame may be a gap between bright stars. */
const leastShare = 0.015;

/** Which squares of a frame show neither stars nor sky. */
export interface BlockedMap {
  readonly across: number;
  /** Side of a square, pixels of the frame. */
  readonly cellPx: number;
  /** Row after row as stored; 1: covered. */
  readonly covered: Uint8Array;
}

/**
 * The parts of the frame that show neither stars nor sky. Steep edges of the sky level, which neither gradients nor
 * vignetting have, divide the frame into parts. A part at the frame's border counts as covered when it has no stars, or
 * hardly any, and is darker than a part across the edge, or many stars are missing in it. The border runs where the
 * level is halfway between the two sides. What has no sky level at all counts too.
 * @param plane - sums of 2 x 2 pixels of the frame
 * @param stars - stars that count, in pixels of their level
 * @param side - pixels of the frame on a side of the pixels that stars are counted in
 * @returns null when the frame has no sky level
 */
export function blockedMap(
  background: Background,
  plane: SumPlane,
  stars: readonly Pick<Star, "x" | "y">[],
  side: number,
): BlockedMap | null {
  const { medianSigma } = background;
  if (!(medianSigma > 0)) return null;
  const map = cellMap(plane, background);
  const { cells, across, down, cellPx } = map;
  const steps = stepsOf(map);
  const limit = Math.max(steeper * median(steps), (leastStep * medianSigma) / 2);
  const blocked = Uint8Array.from(cells, ({ level }) => (Number.isNaN(level) ? 1 : 0));
  const found = { across, cellPx, covered: blocked };
  if (!steps.some((step) => step > limit)) return found;
  for (const { x, y } of stars) {
    const column = Math.min(across - 1, Math.max(0, Math.floor((x * side) / cellPx)));
    const row = Math.min(down - 1, Math.max(0, Math.floor((y * side) / cellPx)));
    cells[row * across + column]!.stars++;
  }
  const parts = partsOf(map, (i) => steps[i]! <= limit && !Number.isNaN(cells[i]!.level));
  const covered = coveredParts(map, parts);
  if (covered.size === 0) return found;
  // From the cores of both sides inwards, each cell on an edge goes to the side whose level is nearer.
  const dark = nearestLevels(map, (i) => covered.has(parts[i]!));
  const sky = nearestLevels(map, (i) => parts[i]! >= 0 && !covered.has(parts[i]!));
  cells.forEach(({ level, stars: seen }, i) => {
    if (Number.isNaN(level)) return;
    if (parts[i]! >= 0) blocked[i] = covered.has(parts[i]!) ? 1 : 0;
    else if (seen === 0 && Math.abs(level - dark[i]!) < Math.abs(level - sky[i]!)) blocked[i] = 1;
  });
  return found;
}

/** Fraction of a frame that is covered, 0 to 1; NaN without a map. */
export const blockedFraction = (map: BlockedMap | null): number =>
  map === null ? Number.NaN : map.covered.reduce((sum, one) => sum + one, 0) / map.covered.length;

/**
 * The largest difference of the level over two cells to both sides, along rows, columns and diagonals, for every cell; 0
 * without values.
 */
function stepsOf({ cells, across, down }: CellMap): Float64Array {
  const levels = new Float64Array(cells.length);
  for (let i = 0; i < levels.length; i++) levels[i] = cells[i]!.level;
  const steps = new Float64Array(cells.length);
  for (let row = 0; row < down; row++)
    for (let column = 0; column < across; column++) {
      const left = Math.max(0, column - 1);
      const right = Math.min(across - 1, column + 1);
      const upper = Math.max(0, row - 1) * across;
      const lower = Math.min(down - 1, row + 1) * across;
      const first = row * across + Math.max(0, column - 2);
      const last = row * across + Math.min(across - 1, column + 2);
      const top = Math.max(0, row - 2) * across + column;
      const bottom = Math.min(down - 1, row + 2) * across + column;
      let most = 0;
      for (let pair = 0; pair < 4; pair++) {
        const one = pair === 0 ? first : pair === 1 ? top : pair === 2 ? upper + left : lower + left;
        const other = pair === 0 ? last : pair === 1 ? bottom : pair === 2 ? lower + right : upper + right;
        const step = Math.abs(levels[one]! - levels[other]!);
        if (step > most) most = step;
      }
      steps[row * across + column] = most;
    }
  return steps;
}

/** Numbers the connected parts of the cells that are wanted; -1: the others. */
function partsOf({ cells, across }: CellMap, wanted: (at: number) => boolean): Int32Array {
  const parts = new Int32Array(cells.length).fill(-1);
  let next = 0;
  for (let start = 0; start < cells.length; start++) {
    if (parts[start] !== -1 || !wanted(start)) continue;
    const queue = [start];
    parts[start] = next;
    for (let at = queue.pop(); at !== undefined; at = queue.pop())
      for (const near of neighbours(at, across, cells.length))
        if (parts[near] === -1 && wanted(near)) {
          parts[near] = next;
          queue.push(near);
        }
    next++;
  }
  return parts;
}

function neighbours(at: number, across: number, count: number): number[] {
  const near: number[] = [];
  if (at % across > 0) near.push(at - 1);
  if (at % across < across - 1) near.push(at + 1);
  if (at >= across) near.push(at - across);
  if (at + across < count) near.push(at + across);
  return near;
}

/** Numbers of the parts that something covers. */
function coveredParts({ cells, across, down }: CellMap, parts: Int32Array): Set<number> {
  const list = new Map<number, { cells: Cell[]; border: boolean; stars: number }>();
  cells.forEach((cell, i) => {
    if (parts[i]! < 0) return;
    const part = list.get(parts[i]!) ?? { cells: [], border: false, stars: 0 };
    list.set(parts[i]!, part);
    part.cells.push(cell);
    part.stars += cell.stars;
    const column = i % across;
    if (column === 0 || column === across - 1 || i < across || i >= across * (down - 1)) part.border = true;
  });
  // The open sky: the part with most stars, of equal ones the brighter.
  const parted = [...list.entries()].filter(([, part]) => part.cells.length >= leastCells);
  if (parted.length < 2) return new Set();
  const levelOf = ({ cells: own }: { cells: readonly Cell[] }) => median(own.map(({ level }) => level));
  const open = parted.reduce((a, b) => ((b[1].stars - a[1].stars || levelOf(b[1]) - levelOf(a[1])) > 0 ? b : a));
  const density = open[1].stars / open[1].cells.length;
  const skyLevel = levelOf(open[1]);
  const skySigma = median(open[1].cells.map(({ sigma }) => sigma));
  const covered = new Set<number>();
  for (const [number, part] of parted) {
    if (number === open[0] || !part.border || part.cells.length < leastShare * cells.length) continue;
    const expected = density * part.cells.length;
    const darker = levelOf(part) < skyLevel - (leastStep * skySigma) / 2;
    // In front of a dark part, noise at its edge may pass for a star or two.
    if (part.stars > (darker ? falseStars : fewStars) * expected) continue;
    if (darker || expected >= enoughMissing) covered.add(number);
  }
  return covered;
}

/** The level of the nearest cell of those wanted, for every cell; NaN when there is none. */
function nearestLevels({ cells, across }: CellMap, wanted: (at: number) => boolean): Float64Array {
  const levels = Float64Array.from(cells, ({ level }, i) => (wanted(i) ? level : Number.NaN));
  let front = Array.from(cells.keys()).filter(wanted);
  while (front.length > 0) {
    const next: number[] = [];
    for (const at of front)
      for (const near of neighbours(at, across, cells.length))
        if (Number.isNaN(levels[near]!)) {
          levels[near] = levels[at]!;
          next.push(near);
        }
    front = next;
  }
  return levels;
}
