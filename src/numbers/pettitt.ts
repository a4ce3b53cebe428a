/** The most likely single change of level. */
export interface SingleChange {
  /** Number of values before the change. */
  readonly after: number;
  readonly statistic: number;
  /** Approximate, 2 exp(-6 K^2 / (n^3 + n^2)), for independent values. */
  readonly p: number;
}

/**
 * Pettitt's rank test for one change of level (1979, Applied Statistics 28, 126). Not swayed by outliers; it assumes
 * independent values, so take its p as a lower bound on a night.
 * @param values - finite, at least two
 */
export function pettitt(values: ArrayLike<number>): SingleChange {
  const n = values.length;
  let [u, statistic, after] = [0, 0, 0];
  for (let t = 0; t < n - 1; t++) {
    for (let j = 0; j < n; j++) u += Math.sign(values[t] - values[j]);
    if (Math.abs(u) > statistic) {
      statistic = Math.abs(u);
      after = t + 1;
    }
  }
  return { after, statistic, p: Math.min(1, 2 * Math.exp((-6 * statistic ** 2) / (n ** 3 + n ** 2))) };
}
