import { findRoot } from "../numbers/find-root.js";
import { CallError } from "../terms/errors.js";

/**
 * How much noisier a stack is because of its read-outs: sqrt(1 + tau / t), tau = R^2 / F.
 * @param readTimeS - tau: the time in which sky and dark make as much variance as one read-out
 */
export const noiseFactor = (subS: number, readTimeS: number): number => Math.sqrt(1 + readTimeS / subS);

/**
 * The sub length at which read noise makes the stack noisier by a fraction: tau / ((1 + E)^2 - 1).
 * @param excess - 0.05 for 5 %
 * @returns s
 */
export function subForExcess(excess: number, readTimeS: number): number {
  if (!(excess > 0)) throw new CallError(`An excess of noise is above 0; ${excess} is not`);
  return readTimeS / ((1 + excess) ** 2 - 1);
}

/** Signal over noise of n short subs against one exposure of the same length: sqrt((F T + R^2) / (F T + n R^2)). */
export const stackingLoss = (totalS: number, subs: number, readTimeS: number): number =>
  Math.sqrt((totalS + readTimeS) / (totalS + subs * readTimeS));

/** What a length costs and saves. */
export interface LengthTerms {
  readonly readTimeS: number;
  /** Between subs: read-out, saving, and the share of dithering. */
  readonly overheadS: number;
  /** Events that spoil a whole sub, per second of exposure. */
  readonly lossPerS: number;
}

/**
 * Depth gained per second of clock time, as a fraction of an ideal camera that loses nothing:
 * t / (t + o) x exp(-lambda t) / (1 + tau / t).
 */
export function clockEfficiency(subS: number, { readTimeS, overheadS, lossPerS }: LengthTerms): number {
  return (((subS / (subS + overheadS)) * Math.exp(-lossPerS * subS)) / (subS + readTimeS)) * subS;
}

/**
 * The length of the highest efficiency: 2/t - 1/(t + o) - 1/(t + tau) = lambda.
 * @returns s; Infinity without losses, as nothing then speaks against longer subs
 */
export function bestSubS({ readTimeS, overheadS, lossPerS }: LengthTerms): number {
  if (!(lossPerS > 0)) return Number.POSITIVE_INFINITY;
  if (!(readTimeS + overheadS > 0)) return 0;
  const slope = (t: number) => 2 / t - 1 / (t + overheadS) - 1 / (t + readTimeS) - lossPerS;
  // For long t the slope is (o + tau) / t^2 - lambda, so the root lies below twice its zero.
  const far = 2 * Math.sqrt((overheadS + readTimeS) / lossPerS) + overheadS + readTimeS;
  return slope(far) >= 0 ? far : findRoot(slope, 1e-6 * far, far, 1e-9 * far);
}

/**
 * The lengths between which the efficiency stays within a fraction of a reference length's.
 * @param within - 0.02: 98 % of the best
 */
export function flatRange(terms: LengthTerms, bestS: number, within: number, longestS: number): [number, number] {
  const least = clockEfficiency(bestS, terms) * (1 - within);
  const gap = (t: number) => clockEfficiency(t, terms) - least;
  const low = gap(bestS * 1e-4) >= 0 ? 0 : findRoot(gap, bestS * 1e-4, bestS, 1e-6 * bestS);
  const high = gap(longestS) >= 0 ? longestS : findRoot(gap, bestS, longestS, 1e-6 * bestS);
  return [low, high];
}
