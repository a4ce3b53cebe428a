import { medianAndSigma } from "../numbers/robust.js";

/** One star's light in two subs. */
export interface LightPair {
  readonly flux: number;
  readonly error: number;
  readonly before: number;
  readonly beforeError: number;
}

/** A star's light in two subs, and where it stands. */
export interface PlacedPair extends LightPair {
  /** In the later sub. */
  readonly x: number;
  readonly y: number;
  /** Square of its distance from the frame's middle in units of the corner's, less the same in the earlier sub. */
  readonly outward: number;
}

/** Light of one sub divided by another's; NaN without stars. */
export interface LightRatio {
  readonly zeroPoint: number;
  /** Standard error of `zeroPoint`. */
  readonly zeroPointError: number;
  /** Scatter of single stars beyond their stated errors, as a logarithm. */
  readonly scatter: number;
}

const rounds = 12;
/** Stars farther off than this many of their errors count less (Huber's weights). */
const turn = 1.5;
/** Flat fields, colours and crowding make even bright stars differ by this much. */
const leastScatter = 0.01;

/**
 * How much brighter stars are in one sub than in another: a weighted mean of logarithms in which outliers (variable
 * stars, clouds in front of some) count less. The error is the larger of what the stars' own errors say and what their
 * scatter says. Stars that the fainter sub barely shows are left out, as those that noise made brighter are the ones
 * that are found: a star must have ten times its error in both.
 */
export function fluxRatio(pairs: readonly LightPair[]): LightRatio {
  const bright = pairs.filter(({ flux, error, before, beforeError }) => flux > 10 * error && before > 10 * beforeError);
  const used = bright.length >= 5 ? bright : pairs.filter(({ flux, before }) => flux > 0 && before > 0);
  if (used.length === 0) return { zeroPoint: Number.NaN, zeroPointError: Number.NaN, scatter: Number.NaN };
  const logs = used.map(({ flux, before }) => Math.log(flux / before));
  const errors = used.map(({ flux, error, before, beforeError }) => Math.hypot(error / flux, beforeError / before));
  let middle = medianAndSigma(logs).median;
  let own = leastScatter;
  let weight = 0;
  const weights = new Float64Array(logs.length);
  for (let round = 0; round < rounds; round++) {
    const spread = logs.map((value, i) => (value - middle) / Math.hypot(errors[i]!, own));
    // Scatter beyond the stated errors belongs to the stars themselves.
    const excess = medianAndSigma(spread).sigma;
    if (logs.length >= 5 && excess > 1.05) own = Math.min(0.5, Math.max(own * Math.min(2, excess), leastScatter));
    let sum = 0;
    weight = 0;
    for (let i = 0; i < logs.length; i++) {
      const error = Math.hypot(errors[i]!, own);
      const off = Math.abs(logs[i]! - middle) / error;
      const w = (off > turn ? turn / off : 1) / (error * error);
      weights[i] = w;
      sum += w * logs[i]!;
      weight += w;
    }
    middle = sum / weight;
  }
  const zeroPoint = Math.exp(middle);
  // What the weights promise, or what the stars' scatter around the mean says (White's estimate), whichever is larger.
  let scatter = 0;
  for (let i = 0; i < logs.length; i++) scatter += (weights[i]! * (logs[i]! - middle)) ** 2;
  const error = Math.max(1 / Math.sqrt(weight), Math.sqrt(scatter) / weight);
  return { zeroPoint, zeroPointError: zeroPoint * error, scatter: own };
}
