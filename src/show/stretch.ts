import { median, quantile } from "../numbers/quantiles.js";
import { numberWords } from "./words.js";

/** One curve from pixel values to greys. */
export interface Stretch {
  /** Values up to this are black. */
  readonly blackAdu: number;
  /** Level of the sky, which gets a dark grey. */
  readonly skyAdu: number;
  /** Values from this are white. */
  readonly whiteAdu: number;
  /** Where the curve turns from straight to logarithmic, as a part of the range; Infinity: straight all the way. */
  readonly softness: number;
}

/** How bright the sky is drawn, 0 to 1: dark, yet not black, so that its noise and its edges can be seen. */
export const skyGrey = 0.16;
/** Black lies this many standard deviations of the picture's own noise below the sky. */
const blackSigma = 3;
/** White lies at least this many above. */
const whiteSigma = 25;
/** and above all but this share of the picture's values. */
const whiteShare = 0.9985;
const mostSamples = 40_000;

/**
 * A stretch from the values of a picture themselves: the sky is their median, its noise the spread below it, where stars
 * and nebula add nothing. Neither a few wild pixels nor a bright object move it.
 * @param values - of the picture, after averaging; NaN where there are none
 */
export function stretchOf(values: ArrayLike<number>): Stretch {
  const step = Math.max(1, Math.floor(values.length / mostSamples));
  const sample: number[] = [];
  for (let i = 0; i < values.length; i += step) if (Number.isFinite(values[i])) sample.push(values[i]!);
  if (sample.length === 0) return curve(0, 0, 1);
  const sky = median(sample);
  // 15.87 % of a normal sample lie more than one standard deviation below its median.
  const sigma = Math.max(sky - quantile(sample, 0.1587), Math.abs(sky) * 1e-4, 1e-6);
  return curve(sky - blackSigma * sigma, sky, Math.max(quantile(sample, whiteShare), sky + whiteSigma * sigma));
}

/**
 * One stretch for several pictures, so that they can be compared: black, sky and white are the middle ones, and white is
 * raised until the brightest sky stays below it.
 */
export function commonStretch(stretches: readonly Stretch[]): Stretch {
  const middle = (of: (stretch: Stretch) => number) => median(stretches.map(of));
  const sky = middle(({ skyAdu }) => skyAdu);
  const noise = middle(({ skyAdu, blackAdu }) => skyAdu - blackAdu);
  const brightest = Math.max(...stretches.map(({ skyAdu, blackAdu }) => skyAdu + 2 * (skyAdu - blackAdu)));
  return curve(sky - noise, sky, Math.max(sky + middle(({ skyAdu, whiteAdu }) => whiteAdu - skyAdu), brightest));
}

/** Skies whose greys under one stretch leave this range are too unlike to share it: they would be black, or hide stars. */
const sharedGreys = [0.06, 0.34] as const;

/**
 * Which pictures can share a stretch: those whose skies all come out dark grey under {@link commonStretch}. One twilight
 * sub then does not make all others black.
 * @returns numbers of the pictures, set by set, the darkest skies first
 */
export function alikeSkies(stretches: readonly Stretch[]): number[][] {
  const order = stretches.map((_, i) => i).sort((a, b) => stretches[a]!.skyAdu - stretches[b]!.skyAdu);
  const sets: number[][] = [];
  for (const i of order) {
    const last = sets.at(-1);
    if (last === undefined || !fits([...last, i].map((one) => stretches[one]!))) sets.push([i]);
    else last.push(i);
  }
  return sets;
}

function fits(stretches: readonly Stretch[]): boolean {
  const shared = commonStretch(stretches);
  return stretches.every(({ skyAdu }) => {
    const grey = greyOf(skyAdu, shared);
    return grey >= sharedGreys[0] && grey <= sharedGreys[1];
  });
}

/** Makes the inverse hyperbolic sine as steep as it takes to give the sky its grey. */
function curve(blackAdu: number, skyAdu: number, whiteAdu: number): Stretch {
  const place = (skyAdu - blackAdu) / (whiteAdu - blackAdu);
  if (!(place > 0 && place < skyGrey)) return { blackAdu, skyAdu, whiteAdu, softness: Number.POSITIVE_INFINITY };
  let [low, high] = [1e-9, 1e3];
  for (let i = 0; i < 60; i++) {
    const softness = Math.sqrt(low * high);
    if (Math.asinh(place / softness) / Math.asinh(1 / softness) > skyGrey) low = softness;
    else high = softness;
  }
  return { blackAdu, skyAdu, whiteAdu, softness: Math.sqrt(low * high) };
}

/** The grey of a value, 0 to 1; never darker for a larger value. NaN, where nothing was recorded, is black. */
export function greyOf(value: number, { blackAdu, whiteAdu, softness }: Stretch): number {
  const place = (value - blackAdu) / (whiteAdu - blackAdu);
  if (!(place > 0)) return 0;
  if (place >= 1) return 1;
  return softness === Number.POSITIVE_INFINITY ? place : Math.asinh(place / softness) / Math.asinh(1 / softness);
}

/** The stretch as a sentence. */
export function stretchWords({ blackAdu, skyAdu, whiteAdu, softness }: Stretch): string {
  const way = softness === Number.POSITIVE_INFINITY ? "a straight line" : "one smooth curve (inverse hyperbolic sine)";
  return `Black is ${numberWords(blackAdu)} ADU, white ${numberWords(whiteAdu)} ADU, with ${way} between them; the sky, ${numberWords(skyAdu)} ADU, is dark grey.`;
}
