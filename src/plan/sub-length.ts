import { CallError } from "../terms/errors.js";
import { cardSpace } from "./card-space.js";
import { bestSubS, clockEfficiency, flatRange, noiseFactor, subForExcess } from "./sub-length-theory.js";

/** All that speaks for longer or shorter subs. Left out or NaN: not known, and then it sets no end. */
export interface SubLengthInput {
  readonly presentS: number;
  /** tau = read noise^2 / background: `NoiseModel.readTimeS`. */
  readonly readTimeS: number;
  readonly overheadS: number;
  /** Short events per second of exposure: `LossRate.perS`. */
  readonly lossPerS?: number;
  /** Blur of the corners at `presentS` by field rotation, px: a high value of the night, as the worst hour counts. */
  readonly rotationBlurPx?: number;
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
  const low = ends("longest", [
    ["read-noise", readTimeS > 0 ? subForExcess(limits.excess, readTimeS) : Number.NaN],
    ["card-space", shortestThatFits(input)],
  ]);
  const high = ends("shortest", [
    ["events", Number.isFinite(bestS) && bestS > 0 ? flatRange(terms, bestS, limits.flat, 100 * bestS)[1] : Number.NaN],
    ["field-rotation", (presentS * limits.blurPx) / (input.rotationBlurPx ?? Number.NaN)],
    ["drift", (limits.driftOfFwhm * fwhmPx) / (input.driftPxPerS ?? Number.NaN)],
    // The saturated area of stars grows about as fast as the exposure.
    [
      "saturation",
      input.saturatedFraction! > limits.saturated / 3
        ? (presentS * limits.saturated) / input.saturatedFraction!
        : Number.NaN,
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
  return clockEfficiency(Math.min(bestS, longest), terms);
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

function ends(strictest: "longest" | "shortest", list: readonly (readonly [LengthReason, number])[]): LengthEnd[] {
  return list
    .filter(([, subS]) => Number.isFinite(subS) && subS > 0)
    .map(([reason, subS]) => ({ reason, subS }))
    .sort((a, b) => (strictest === "longest" ? b.subS - a.subS : a.subS - b.subS));
}

/** What is not known adds nothing. */
const orZero = (value: number | undefined) => (value !== undefined && value > 0 ? value : 0);
