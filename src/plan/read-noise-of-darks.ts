import type { Calibration } from "./calibration-rows.js";
import { darkByDoubling } from "./dark-current.js";

/** Read noise of dark frames, ADU. */
export interface DarkReadNoise {
  readonly noiseAdu: number;
  /** Standard error; of a bound, that of the pair's noise. */
  readonly noiseErrorAdu: number;
  /** Level of a frame without light and time; NaN where it cannot be told. */
  readonly pedestalAdu: number;
  /** `at-most`: the shot noise of the dark current could not be taken off. */
  readonly bound: "at-most" | null;
}

/** The dark charge of two sets must differ by this factor at least. */
const leastRatio = 1.5;
/** Degrees in which dark current doubles: the usual value, and how far sensors differ (from memory). */
const doublingC = { usual: 6.3, low: 5, high: 8 };

/**
 * Read noise from dark frames. A dark's variance is that of read-out and of its dark charge, which is in proportion to
 * exposure and doubles every 6.3 degrees (5 to 8, as sensors differ). From two sets whose charges are as 1 to q,
 * s0^2 = s1^2 - (s2^2 - s1^2) / (q - 1), and likewise the level without charge; e-/ADU is not needed. With one set, or
 * sets too much alike, the noise of the shortest is an upper bound.
 * @param darks - one entry a length and temperature; see `darksOf`
 * @returns null without dark frames
 * @example
 * ```ts
 * import { readNoiseOfDarks } from "nightyield";
 * const at = { noiseErrorAdu: 0.01, sensorTempC: -5 };
 * const read = readNoiseOfDarks([
 *   { ...at, exposureS: 30, levelAdu: 415, noiseAdu: 5.2 },
 *   { ...at, exposureS: 120, levelAdu: 460, noiseAdu: 9.1 },
 * ]);
 * console.log(read?.noiseAdu, "ADU, pedestal", read?.pedestalAdu); // 2.35 and 400
 * ```
 */
export function readNoiseOfDarks(darks: readonly Calibration[]): DarkReadNoise | null {
  if (darks.length === 0) return null;
  const quietest = darks.reduce((a, b) => (b.noiseAdu < a.noiseAdu ? b : a));
  const bound = {
    noiseAdu: quietest.noiseAdu,
    noiseErrorAdu: quietest.noiseErrorAdu,
    pedestalAdu: Number.NaN,
    bound: "at-most",
  } as const;
  const told = darks
    .flatMap((a) => darks.map((b) => betweenSets(a, b)))
    .filter((one) => one !== null)
    .sort((one, other) => one.varianceError - other.varianceError);
  const [best] = told;
  // Where what is taken off is most of the noise, the rest is not known well enough.
  if (best === undefined || !(best.variance > 2 * best.varianceError)) return bound;
  const noiseAdu = Math.sqrt(best.variance);
  const noiseErrorAdu = best.varianceError / (2 * noiseAdu);
  return { noiseAdu, noiseErrorAdu, pedestalAdu: best.pedestalAdu, bound: null };
}

/** Variance and level without charge, from two sets; null where the second has not clearly more charge. */
function betweenSets(a: Calibration, b: Calibration) {
  const q = chargeRatio(a, b, doublingC.usual);
  if (!(q >= leastRatio)) return null;
  const varianceBy = (ratio: number) => atZero(a.noiseAdu ** 2, b.noiseAdu ** 2, ratio);
  const ends = [doublingC.low, doublingC.high].map((doubling) => varianceBy(chargeRatio(a, b, doubling)));
  const varianceError = Math.hypot(
    (2 * a.noiseAdu * a.noiseErrorAdu * q) / (q - 1),
    (2 * b.noiseAdu * b.noiseErrorAdu) / (q - 1),
    (ends[0] - ends[1]) / 2,
  );
  return { variance: varianceBy(q), varianceError, pedestalAdu: atZero(a.levelAdu, b.levelAdu, q) };
}

/** What two values, of charges 1 and q, would be without charge. */
const atZero = (first: number, second: number, q: number) => first - (second - first) / (q - 1);

/** Dark charge of one set over that of another; NaN where only one has a temperature. */
function chargeRatio(a: Calibration, b: Calibration, doubling: number): number {
  const longer = b.exposureS / a.exposureS;
  if (Number.isNaN(a.sensorTempC) && Number.isNaN(b.sensorTempC)) return longer;
  return longer * darkByDoubling(1, a.sensorTempC, b.sensorTempC, doubling);
}
