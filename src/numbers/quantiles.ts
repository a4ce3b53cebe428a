/** The finite values of a column, sorted ascending, in a new array. */
export function sortedFinite(values: ArrayLike<number>): Float64Array {
  const kept = new Float64Array(values.length);
  return kept.subarray(0, keepFinite(values, kept)).sort();
}

/** Copies the finite values; returns how many. */
function keepFinite(values: ArrayLike<number>, kept: Float64Array): number {
  let n = 0;
  for (let i = 0; i < values.length; i++) if (Number.isFinite(values[i])) kept[n++] = values[i]!;
  return n;
}

/** The same, of one type of array only, which is several times faster. */
function keepFiniteFloats(values: Float64Array, kept: Float64Array): number {
  let n = 0;
  for (let i = 0; i < values.length; i++) {
    const value = values[i]!;
    if (value - value === 0) kept[n++] = value;
  }
  return n;
}

/**
 * A quantile by linear interpolation between order statistics (Hyndman & Fan 1996, type 7). Missing values do not count.
 * @param p - 0 to 1
 * @returns NaN when there is no finite value
 */
export function quantile(values: ArrayLike<number>, p: number): number {
  const kept = new Float64Array(values.length);
  const n = values instanceof Float64Array ? keepFiniteFloats(values, kept) : keepFinite(values, kept);
  if (n === 0) return Number.NaN;
  const at = p * (n - 1);
  const below = Math.floor(at);
  // Selection instead of sorting: only the order around one place is needed.
  const low = select(kept, n, below);
  if (below + 1 >= n || at === below) return low;
  let high = kept[below + 1]!;
  for (let i = below + 2; i < n; i++) if (kept[i]! < high) high = kept[i]!;
  return low + (at - below) * (high - low);
}

/** Moves the k-th smallest of the first n values to place k, none larger before it (Hoare's selection). */
function select(values: Float64Array, n: number, k: number): number {
  let left = 0;
  let right = n - 1;
  while (left < right) {
    const a = values[left]!;
    const b = values[(left + right) >> 1]!;
    const c = values[right]!;
    const pivot = Math.max(Math.min(a, b), Math.min(Math.max(a, b), c));
    let i = left;
    let j = right;
    while (i <= j) {
      while (values[i]! < pivot) i++;
      while (values[j]! > pivot) j--;
      if (i > j) break;
      const swapped = values[i]!;
      values[i++] = values[j]!;
      values[j--] = swapped;
    }
    if (k <= j) right = j;
    else if (k >= i) left = i;
    else break;
  }
  return values[k]!;
}

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

/**
 * The median of finite values, faster where it is nearly known.
 * @param guess - what it is about; NaN: not known
 */
export function medianNear(values: Float64Array, guess: number): number {
  const [from, to] = [0.8 * guess, 1.25 * guess];
  const near = new Float64Array(values.length);
  let below = 0;
  let n = 0;
  for (let i = 0; i < values.length; i++) {
    const value = values[i]!;
    if (value < from) below++;
    else if (value <= to) near[n++] = value;
  }
  // Both middle values must be among those near the guess.
  const first = Math.floor((values.length - 1) / 2) - below;
  const last = Math.floor(values.length / 2) - below;
  if (!(guess > 0 && first >= 0 && last < n)) return median(values);
  const low = select(near, n, first);
  if (last === first) return low;
  let high = near[last]!;
  for (let i = last + 1; i < n; i++) if (near[i]! < high) high = near[i]!;
  return low + 0.5 * (high - low);
}
