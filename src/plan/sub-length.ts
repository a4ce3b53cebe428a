import type { Interval } from "../numbers/proportion-intervals.js";
import { CallError } from "../terms/errors.js";
import { cardSpace } from "./card-space.js";
import { bestSubS, clockEfficiency, flatRange, noiseFactor, subForExcess } from "./sub-length-theory.js";

/** All that speaks for longer or shorter subs. Left out or NaN: not known, and then it sets no end. */
export interface SubLengthInput {
  readonly presentS: number;
  /** tau = read noise^2 / background: `NoiseModel.readTimeS`. */
  readonly readTimeS: number;
  /** Between the brightest and the darkest sky: `NoiseModel.readTimeRangeS`. */
  readonly readTimeRangeS?: Interval;
  readonly overheadS: number;
  /** Short events per second of exposure: `LossRate.perS`. */
  readonly lossPerS?: number;
  /** How well that is known: `lowPerS` and `highPerS`. */
  readonly lossRangePerS?: Interval;
  /** Blur of the corners at `presentS` by field rotation, px: a high value of the night, as the worst hour counts. */
  readonly rotationBlurPx?: number;
  /** The same in the easiest and in the worst part of the night. */
  readonly rotationRangePx?: Interval;
  /** Drift of the mount, px/s. */
  readonly driftPxPerS?: number;
  readonly fwhmPx?: number;
  /** Part of the pixels at the sensor's limit at `presentS`. */
  readonly saturatedFraction?: number;
  readonly width?: number;
  readonly height?: number;
  readonly bytesPerPx?: number;
  /** Free space on the card. */
  readonly freeBytes?: number;
  readonly hoursPerNight?: number;
  /** What the user accepts. */
  readonly accept?: Partial<SubLengthLimits>;
}

/** Choices of this project where no number is published; all can be changed. */
export interface SubLengthLimits {
  /** Extra noise by reading: 0.05 (that is 10 % of the time). */
  readonly excess: number;
  /** Blur in the corners, px: 1. */
  readonly blurPx: number;
  /** Drift as a part of the FWHM: 0.5. */
  readonly driftOfFwhm: number;
  /** Pixels at the limit: 0.001. */
  readonly saturated: number;
  /** Loss against the best length that does not matter: 0.02. */
  readonly flat: number;
}

/** What sets an end of the range. */
export type LengthReason = "read-noise" | "card-space" | "events" | "field-rotation" | "drift" | "saturation";

/** One end of the range: the length at which the reason sets in. */
export interface LengthEnd {
  readonly subS: number;
  readonly reason: LengthReason;
  /** Where it may lie, from the ranges given; null: not known. */
  readonly rangeS: Interval | null;
}

/** Parts of the clock time, 0 to 1, that one length loses. */
export interface LengthCosts {
  /** Time that would make up for the noise of reading: tau / (t + tau). */
  readonly readNoise: number;
  /** Between subs. */
  readonly pauses: number;
  /** Subs spoiled by short events. */
  readonly events: number;
}

/** A point of the curve. */
export interface LengthPoint {
  readonly subS: number;
  /** Depth per clock time, 1: no read noise, no pauses, no losses. */
  readonly efficiency: number;
  /** Noise against subs without read noise. */
  readonly noiseFactor: number;
  readonly keepRate: number;
  readonly rotationBlurPx: number;
  /** Time between two subs, s; 0 where it is not known. */
  readonly pauseS: number;
  readonly subsPerNight: number;
  readonly bytesPerNight: number;
}

/** The answer. */
export interface SubLengthAdvice {
  /**
   * No shorter than this, and why; all reasons, strictest first. Empty: nothing speaks against short subs, or it is
   * not known.
   */
  readonly low: readonly LengthEnd[];
  /** No longer than this. */
  readonly high: readonly LengthEnd[];
  /** Both ends cannot be kept: the strictest caps win, and this is what it costs. */
  readonly conflict: boolean;
  /** Range to use, s; NaN where an end is not known. */
  readonly fromS: number;
  readonly toS: number;
  /** Length of the highest efficiency; Infinity without losses. */
  readonly bestS: number;
  readonly present: LengthPoint;
  /** What the present length loses, by reason; NaN where it is not known. */
  readonly presentCosts: LengthCosts;
  /**
   * Part of the clock time that the present length loses against the best one within the range: 0.1 is six minutes an
   * hour.
   */
  readonly presentLoss: number;
  readonly curve: readonly LengthPoint[];
  readonly missing: readonly ("read-noise" | "overhead" | "rotation" | "events")[];
}

const defaults: SubLengthLimits = { excess: 0.05, blurPx: 1, driftOfFwhm: 0.5, saturated: 0.001, flat: 0.02 };
const curveS = [1, 2, 3, 5, 7, 10, 15, 20, 30, 45, 60, 90, 120, 180, 240, 300, 420, 600, 900];

/**
 * The range of sub lengths to use, each end with its reason, and what the present length costs.
 * Low end: read noise, and the number of files that fit on the card. High end: events that spoil whole subs, field
 * rotation, drift, saturation. Where they cross, the caps win.
 * @throws CallError when the present length is not positive
 * @example
 * ```ts
 * import { subLengthAdvice } from "nightyield";
 * const { fromS, toS } = subLengthAdvice({ presentS: 30, readTimeS: 1.3, overheadS: 2, lossPerS: 0.0005 });
 * console.log(fromS, toS);
 * ```
 */
export function subLengthAdvice(input: SubLengthInput): SubLengthAdvice {
  const { presentS, readTimeS, fwhmPx = Number.NaN } = input;
  if (!(presentS > 0)) throw new CallError(`The present sub length is ${presentS} s, expected more than 0`);
  const limits = { ...defaults, ...input.accept };
  const terms = {
    readTimeS: orZero(readTimeS),
    overheadS: orZero(input.overheadS),
    lossPerS: orZero(input.lossPerS),
  };
  const bestS = bestSubS(terms);
  const cappedBy = (lossPerS: number) => {
    const best = bestSubS({ ...terms, lossPerS });
    return Number.isFinite(best) && best > 0
      ? flatRange({ ...terms, lossPerS }, best, limits.flat, 100 * best)[1]
      : Number.NaN;
  };
  const { readTimeRangeS: reads, lossRangePerS: losses, rotationRangePx: turns } = input;
  const low = ends("longest", [
    ["read-noise", (tau: number) => (tau > 0 ? subForExcess(limits.excess, tau) : Number.NaN), readTimeS, reads],
    ["card-space", () => shortestThatFits(input), Number.NaN, undefined],
  ]);
  const high = ends("shortest", [
    ["events", cappedBy, terms.lossPerS, losses],
    ["field-rotation", (px: number) => (presentS * limits.blurPx) / px, input.rotationBlurPx ?? Number.NaN, turns],
    ["drift", (px: number) => (limits.driftOfFwhm * fwhmPx) / px, input.driftPxPerS ?? Number.NaN, undefined],
    // The saturated area of stars grows about as fast as the exposure.
    [
      "saturation",
      (part: number) => (part > limits.saturated / 3 ? (presentS * limits.saturated) / part : Number.NaN),
      input.saturatedFraction ?? Number.NaN,
      undefined,
    ],
  ]);
  const toS = high[0]?.subS ?? Number.NaN;
  const wantedS = low[0]?.subS ?? Number.NaN;
  const conflict = wantedS > toS;
  const fromS = conflict ? toS : wantedS;
  const lengths = [...new Set([...curveS, presentS])].sort((a, b) => a - b);
  const pointOf = (subS: number) => point(subS, input, terms);
  const top = topWithin(terms, bestS, toS, presentS);
  return {
    low,
    high,
    conflict,
    fromS,
    toS,
    bestS,
    present: pointOf(presentS),
    presentCosts: {
      readNoise: readTimeS >= 0 ? readTimeS / (presentS + readTimeS) : Number.NaN,
      pauses: input.overheadS >= 0 ? input.overheadS / (presentS + input.overheadS) : Number.NaN,
      events: input.lossPerS! >= 0 ? 1 - Math.exp(-input.lossPerS! * presentS) : Number.NaN,
    },
    presentLoss: Math.max(0, 1 - clockEfficiency(presentS, terms) / top),
    curve: lengths.map(pointOf),
    missing: [
      ...(readTimeS >= 0 ? [] : (["read-noise"] as const)),
      ...(input.overheadS >= 0 ? [] : (["overhead"] as const)),
      ...(input.rotationBlurPx! >= 0 ? [] : (["rotation"] as const)),
      ...(input.lossPerS! >= 0 ? [] : (["events"] as const)),
    ],
  };
}

/** The best efficiency that the caps allow. Without any cap ten minutes stand for "long". */
function topWithin(
  terms: Parameters<typeof clockEfficiency>[1],
  bestS: number,
  capS: number,
  presentS: number,
): number {
  const longest = Number.isNaN(capS) ? Math.max(600, presentS) : capS;
  // Nothing to gain by length at all: towards no length nothing is lost.
  return bestS === 0 ? 1 : clockEfficiency(Math.min(bestS, longest), terms);
}

function point(subS: number, input: SubLengthInput, terms: Parameters<typeof clockEfficiency>[1]): LengthPoint {
  const { presentS, width = Number.NaN, height = Number.NaN, bytesPerPx = 2, hoursPerNight = Number.NaN } = input;
  const known = width > 0 && height > 0 && hoursPerNight > 0;
  const space = known
    ? cardSpace({ width, height, bytesPerPx, subS, overheadS: terms.overheadS, hoursPerNight })
    : null;
  return {
    subS,
    efficiency: clockEfficiency(subS, terms),
    noiseFactor: input.readTimeS >= 0 ? noiseFactor(subS, terms.readTimeS) : Number.NaN,
    keepRate: Math.exp(-terms.lossPerS * subS),
    rotationBlurPx: ((input.rotationBlurPx ?? Number.NaN) * subS) / presentS,
    pauseS: terms.overheadS,
    subsPerNight: space?.subsPerNight ?? Number.NaN,
    bytesPerNight: space?.bytesPerNight ?? Number.NaN,
  };
}

/** The shortest length whose night still fits into the free space; NaN where that is not known. */
function shortestThatFits(input: SubLengthInput): number {
  const { width, height, bytesPerPx = 2, freeBytes, hoursPerNight, overheadS } = input;
  if (width === undefined || height === undefined || freeBytes === undefined || hoursPerNight === undefined)
    return Number.NaN;
  const { bytesPerSub } = cardSpace({ width, height, bytesPerPx, subS: 1, overheadS: 0, hoursPerNight });
  const fits = Math.floor(freeBytes / bytesPerSub);
  return fits < 1 ? Number.NaN : Math.max(0.1, (hoursPerNight * 3600) / fits - orZero(overheadS));
}

/** Reason, the length at which it sets in for a value, the value, and its range. */
type EndRule = readonly [LengthReason, (value: number) => number, number, Interval | undefined];

function ends(strictest: "longest" | "shortest", rules: readonly EndRule[]): LengthEnd[] {
  return rules
    .map(([reason, lengthFor, value, range]) => {
      const both = range === undefined ? [] : [lengthFor(range.low), lengthFor(range.high)];
      // No events at all set no end: then the far side is open.
      const sorted = both.map((subS) => (Number.isNaN(subS) ? Number.POSITIVE_INFINITY : subS)).sort((a, b) => a - b);
      const open = both.length === 2 && both.some((subS) => subS > 0);
      return { reason, subS: lengthFor(value), rangeS: open ? { low: sorted[0], high: sorted[1] } : null };
    })
    .filter(({ subS }) => Number.isFinite(subS) && subS > 0)
    .sort((a, b) => (strictest === "longest" ? b.subS - a.subS : a.subS - b.subS));
}

/** What is not known adds nothing. */
const orZero = (value: number | undefined) => (value !== undefined && value > 0 ? value : 0);
