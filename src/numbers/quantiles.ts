/** The finite values of a column, sorted ascending, in a new array. */
export function sortedFinite(values: ArrayLike<number>): Float64Array {
  const kept = new Float64Array(values.length);
  let n = 0;
  for (let i = 0; i < values.length; i++) if (Number.isFinite(values[i])) kept[n++] = values[i]!;
  return kept.subarray(0, n).sort();
}

/**
 * A quantile by linear interpolation between order statistics (Hyndman & Fan 1996, type 7). Missing values do not count.
 * @param p - 0 to 1
 * @returns NaN when there is no finite value
 */
export const quantile = (values: ArrayLike<number>, p: number): number => quantileSorted(sortedFinite(values), p);

/** The same of values that are sorted ascending and finite already. */
export function quantileSorted(sorted: ArrayLike<number>, p: number): number {
  if (sorted.length === 0) return Number.NaN;
  const at = p * (sorted.length - 1);
  const below = Math.floor(at);
  const low = sorted[below]!;
  const high = sorted[Math.min(below + 1, sorted.length - 1)]!;
  return low + (at - below) * (high - low);
}

/** The median of the finite values; NaN when there is none. */
export const median = (values: ArrayLike<number>): number => quantile(values, 0.5);
