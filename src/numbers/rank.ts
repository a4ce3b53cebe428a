/** Ranks from 1, ties sharing their mean rank. Values must be finite. */
export function ranks(values: ArrayLike<number>): Float64Array {
  const order = Array.from({ length: values.length }, (_, i) => i).sort((a, b) => values[a]! - values[b]!);
  const result = new Float64Array(values.length);
  for (let from = 0; from < order.length; ) {
    let to = from;
    while (to < order.length && values[order[to]!] === values[order[from]!]) to++;
    for (let i = from; i < to; i++) result[order[i]!] = (from + to + 1) / 2;
    from = to;
  }
  return result;
}

/** Pearson's correlation; NaN when one side does not vary. */
export function correlation(x: ArrayLike<number>, y: ArrayLike<number>): number {
  const n = x.length;
  let meanX = 0;
  let meanY = 0;
  for (let i = 0; i < n; i++) {
    meanX += x[i]! / n;
    meanY += y[i]! / n;
  }
  let xx = 0;
  let yy = 0;
  let xy = 0;
  for (let i = 0; i < n; i++) {
    const dx = x[i]! - meanX;
    const dy = y[i]! - meanY;
    xx += dx * dx;
    yy += dy * dy;
    xy += dx * dy;
  }
  return xx > 0 && yy > 0 ? xy / Math.sqrt(xx * yy) : Number.NaN;
}

/** Spearman's rank correlation, ties by mean rank. Values must be finite. */
export const spearman = (x: ArrayLike<number>, y: ArrayLike<number>): number => correlation(ranks(x), ranks(y));
