import { descendingOrder } from "../numbers/order.js";
import { isMaximum, kernelSigma, kernelSum, smoothed } from "./find-peaks.js";
import type { SumPlane } from "./frame-buffers.js";

/** A place whose sums have changed, with the sky around it in the units of the sums. */
export interface Changed {
  /** Index into the sums. */
  readonly at: number;
  readonly level: number;
  readonly sigma: number;
}

/** Smoothed sums change this far from a changed one, and maxima among them one farther. */
const changedReach = 2;

/**
 * Local maxima of the smoothed sums near places where these have changed, as `findPeaks` finds them.
 * @param changes - in ascending order
 * @param peaks - known ones, in ascending order; those within `reach` of a change, sums, are marked in `stale`
 * @param reach - how far a change matters to what made a peak
 * @param stale - one value a peak, set to 1
 * @returns those that are to be looked at, in ascending order: stale ones that are still maxima, and new ones
 */
export function peaksAgain(
  { values, width, height }: SumPlane,
  changes: readonly Changed[],
  peaks: Int32Array,
  reach: number,
  thresholdSigma: number,
  stale: Uint8Array,
): Int32Array {
  const found: number[] = [];
  const reach2 = Math.max(2 * changedReach * changedReach, reach * reach);
  const rows = Math.floor(Math.sqrt(reach2));
  let first = 0;
  for (const { at, level, sigma } of changes) {
    const x = at % width;
    const y = (at - x) / width;
    // Both come in the order of the rows: what lies above these rows lies above those of later changes, too.
    while (first < peaks.length && peaks[first]! < (y - rows) * width) first++;
    for (let i = first, row = y - rows; row <= y + rows; row++) {
      const away = Math.floor(Math.sqrt(reach2 - (row - y) ** 2));
      const last = row * width + Math.min(width - 1, x + away);
      i = firstNotBelow(peaks, row * width + Math.max(0, x - away), i);
      for (; i < peaks.length && peaks[i]! <= last; i++) {
        if (stale[i] === 1) continue;
        stale[i] = 1;
        if (isMaximum(values, peaks[i]!, width)) found.push(peaks[i]!);
      }
    }
    const single = level + 0.3 * thresholdSigma * sigma;
    const filtered = kernelSum * level + thresholdSigma * kernelSigma * sigma;
    for (let row = Math.max(2, y - changedReach); row <= Math.min(height - 3, y + changedReach); row++)
      for (let column = Math.max(2, x - changedReach); column <= Math.min(width - 3, x + changedReach); column++) {
        const place = row * width + column;
        if (!(values[place]! > single) || !(smoothed(values, place, width) > filtered)) continue;
        if (isMaximum(values, place, width)) found.push(place);
      }
  }
  const sorted = Int32Array.from(found).sort();
  return sorted.filter((at, i) => i === 0 || at !== sorted[i - 1]);
}

/** Tells whether one of some peaks is at a place or right beside it. */
export class NearPeaks {
  readonly #width: number;
  readonly #peaks: Int32Array;
  readonly #firstOfRow: Int32Array;

  /** @param peaks - in ascending order */
  constructor(peaks: Int32Array, { width, height }: SumPlane) {
    this.#width = width;
    this.#peaks = peaks;
    this.#firstOfRow = new Int32Array(height + 1);
    for (let i = 0, row = 0; row <= height; row++) {
      while (i < peaks.length && peaks[i]! < row * width) i++;
      this.#firstOfRow[row] = i;
    }
  }

  /** @param at - index of a sum that is not in the first or last row */
  has(at: number): boolean {
    const peaks = this.#peaks;
    const row = Math.floor(at / this.#width);
    for (let dy = -1; dy <= 1; dy++) {
      const middle = at + dy * this.#width;
      for (let i = this.#firstOfRow[row + dy]!, end = this.#firstOfRow[row + dy + 1]!; i < end; i++)
        if (peaks[i]! >= middle - 1) {
          if (peaks[i]! <= middle + 1) return true;
          break;
        }
    }
    return false;
  }
}

/** Index of the first of ascending numbers that is not below a limit, from an index on; fastest when it is near. */
function firstNotBelow(numbers: Int32Array, limit: number, from: number): number {
  let low = from;
  let step = 1;
  while (low + step < numbers.length && numbers[low + step]! < limit) {
    low += step;
    step *= 2;
  }
  let high = Math.min(numbers.length, low + step);
  while (low < high) {
    const middle = (low + high) >> 1;
    if (numbers[middle]! < limit) low = middle + 1;
    else high = middle;
  }
  return low;
}

/**
 * All peaks from the strongest to the faintest, those that are looked at again among them.
 * @param ranked - the first ones in this order
 * @param strengths - of the first ones
 * @param again - further ones, numbered after the first
 */
export function rankedTogether(
  ranked: Int32Array,
  strengths: Float64Array,
  again: Int32Array,
  { values, width }: SumPlane,
): { readonly order: Int32Array; readonly strengths: Float64Array } {
  if (again.length === 0) return { order: ranked, strengths };
  const all = new Float64Array(ranked.length + again.length);
  all.set(strengths);
  for (let i = 0; i < again.length; i++) all[ranked.length + i] = smoothed(values, again[i]!, width);
  const added = descendingOrder(all.subarray(ranked.length));
  const order = new Int32Array(all.length);
  let old = 0;
  for (let i = 0, fresh = 0; i < order.length; i++) {
    const next = fresh < added.length ? ranked.length + added[fresh]! : -1;
    if (next < 0 || (old < ranked.length && strengths[ranked[old]!]! >= all[next]!)) order[i] = ranked[old++]!;
    else {
      order[i] = next;
      fresh++;
    }
  }
  return { order, strengths: all };
}
