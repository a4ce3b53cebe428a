/**
 * Autocorrelation of an evenly spaced series at a lag, about the mean of the whole series (Box & Jenkins; the definition
 * of NIST's StRD and of R's acf).
 * @returns NaN when the series does not vary
 */
export function autocorrelation(values: ArrayLike<number>, lag = 1): number {
  const n = values.length;
  let mean = 0;
  for (let i = 0; i < n; i++) mean += values[i];
  mean /= n;
  let left = 0;
  for (let i = 0; i < n; i++) left += values[i] - mean;
  mean += left / n;
  let [top, bottom] = [0, 0];
  for (let i = 0; i < n; i++) {
    const d = values[i] - mean;
    bottom += d * d;
    if (i >= lag) top += d * (values[i - lag] - mean);
  }
  return bottom > 0 ? top / bottom : Number.NaN;
}

/**
 * How many independent values a mean of autocorrelated ones is worth, n (1 - r) / (1 + r) for a first-order process
 * (Bartlett 1946). Not more than n, not less than 1.
 */
export const effectiveNumberForMean = (n: number, lag1: number): number =>
  Math.min(n, Math.max(1, (n * (1 - lag1)) / (1 + lag1)));

/**
 * How many independent pairs a correlation of two autocorrelated series is worth, n (1 - r r') / (1 + r r') (Bartlett
 * 1946; Pyper & Peterman 1998, Can. J. Fish. Aquat. Sci. 55, 2127, that citation from memory). Not more than n, not less
 * than 3.
 */
export const effectiveNumberForCorrelation = (n: number, lag1X: number, lag1Y: number): number =>
  Math.min(n, Math.max(3, (n * (1 - lag1X * lag1Y)) / (1 + lag1X * lag1Y)));
