/**
 * Noise of a series: a first-order autoregressive part and a white part, total variance 1. `share` is the variance of
 * the first, `rho` its correlation from one value to the next.
 */
export interface SerialNoise {
  readonly rho: number;
  readonly share: number;
}

/** Prediction errors of that noise have these variances and gains; they settle after a few values. */
export interface Whitener {
  readonly noise: SerialNoise;
  readonly scale: Float64Array;
  readonly gain: Float64Array;
  /** Sum of the logarithms of the variances over the first so many values. */
  readonly logVariance: Float64Array;
}

/**
 * Kalman's filter for the noise, worked out once for the longest series (Harvey 1989, Forecasting, Structural Time
 * Series Models and the Kalman Filter, 3.2). It is linear, so one whitener serves the data and every regressor.
 */
export function whitenerFor(noise: SerialNoise, longest: number): Whitener {
  const { rho, share } = noise;
  const scale = new Float64Array(longest);
  const gain = new Float64Array(longest);
  const logVariance = new Float64Array(longest + 1);
  let p = share;
  for (let i = 0; i < longest; i++) {
    const f = p + (1 - share);
    scale[i] = 1 / Math.sqrt(f);
    gain[i] = p / f;
    logVariance[i + 1] = logVariance[i] + Math.log(f);
    p = rho * rho * (p - gain[i] * p) + share * (1 - rho * rho);
  }
  return { noise, scale, gain, logVariance };
}

/**
 * Turns such noise into white noise of variance 1: each value less what those before it in its series foretell.
 * @param starts - first index of each series, and the total number of values at the end
 */
export function whitened(values: ArrayLike<number>, starts: ArrayLike<number>, whitener: Whitener): Float64Array {
  const { scale, gain, noise } = whitener;
  const result = new Float64Array(values.length);
  for (let s = 0; s + 1 < starts.length; s++) {
    const from = starts[s];
    let expected = 0;
    for (let i = from; i < starts[s + 1]; i++) {
      const surprise = values[i] - expected;
      result[i] = surprise * scale[i - from];
      expected = noise.rho * (expected + gain[i - from] * surprise);
    }
  }
  return result;
}

/**
 * How many times larger the variance of x . noise is than with white noise: the price of autocorrelation for the
 * coefficient of a regressor x.
 */
export function serialInflation(x: ArrayLike<number>, starts: ArrayLike<number>, { rho, share }: SerialNoise): number {
  let [square, cross] = [0, 0];
  for (let s = 0; s + 1 < starts.length; s++) {
    let before = 0;
    for (let i = starts[s]; i < starts[s + 1]; i++) {
      cross += x[i] * before;
      square += x[i] * x[i];
      before = rho * (before + x[i]);
    }
  }
  return square > 0 ? Math.max(1, 1 + (2 * share * cross) / square) : 1;
}
