import { median } from "./quantiles.js";

/** 1 / Phi^-1(3/4): makes the median absolute deviation estimate the standard deviation of a normal sample. */
export const madToSigma = 1.482602218505602;

/** Median and 1.4826 x median absolute deviation of the finite values; NaN when there is none. */
export function medianAndSigma(values: ArrayLike<number>): { median: number; sigma: number } {
  const middle = median(values);
  const deviations = new Float64Array(values.length);
  for (let i = 0; i < deviations.length; i++) deviations[i] = Math.abs(values[i]! - middle);
  return { median: middle, sigma: madToSigma * median(deviations) };
}

/**
 * Modified z-scores, 0.6745 (x - median) / MAD (Iglewicz & Hoaglin 1993; that formula is from memory).
 * @returns NaN where a value is missing, or the MAD is zero
 */
export function modifiedZ(values: ArrayLike<number>): Float64Array {
  const { median: middle, sigma } = medianAndSigma(values);
  return Float64Array.from(values, (v) => (sigma > 0 ? (v - middle) / sigma : Number.NaN));
}
