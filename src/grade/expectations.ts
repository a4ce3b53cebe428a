import { median } from "../numbers/quantiles.js";
import type { FrameTable } from "../terms/frame-table.js";
import { type Expectation, expectationOf } from "./good-part.js";
import type { Group } from "./groups.js";

/** What comparable subs of a group show, known physics taken out. Arrays run over the rows of the group. */
export interface Expectations {
  readonly stars: Expectation;
  readonly background: Expectation;
  /** Variance of the background that one ADU of sky adds (1 / gain where all else is equal); 0: cannot be told. */
  readonly variancePerAdu: number;
  /** Noise that the brightness of the background explains, sub by sub. */
  readonly noise: Float64Array;
  readonly noiseExcess: Expectation;
  /** Unevenness that the brightness of the background explains, sub by sub, in units of the sub's noise. */
  readonly gradient: Float64Array;
  readonly gradientExcess: Expectation;
  /** Relative width of stars by airmass. */
  readonly seeing: Float64Array;
  /** Star width, divided by `seeing`. */
  readonly width: Expectation;
  readonly eccentricity: Expectation;
}

/** Works out what to expect of the subs of a group. */
export function expectationsOf(table: FrameTable, { rows }: Group): Expectations {
  const at = (column: ArrayLike<number>) => Float64Array.from(rows, (row) => column[row]);
  const background = at(table.backgroundAdu);
  const noise = at(table.noiseAdu);
  const gradient = at(table.backgroundGradient);
  const variance = slopeOf(
    background,
    noise.map((n) => n * n),
  );
  const explainedNoise = background.map((b) => Math.sqrt(Math.max(0, variance.base + variance.slope * b)));
  // A sky twice as bright is twice as uneven in ADU.
  const uneven = slopeOf(
    background,
    gradient.map((g, i) => g * noise[i]),
  );
  const explainedGradient = background.map((b, i) => Math.max(0, uneven.base + uneven.slope * b) / noise[i]);
  const seeing = at(table.airmass).map(seeingLaw);
  return {
    stars: expectationOf(at(table.starCount), "high"),
    background: expectationOf(background, "low"),
    variancePerAdu: variance.slope,
    noise: explainedNoise,
    noiseExcess: expectationOf(
      noise.map((n, i) => n / explainedNoise[i]),
      "low",
    ),
    gradient: explainedGradient,
    gradientExcess: expectationOf(
      gradient.map((g, i) => g - explainedGradient[i]),
      "low",
    ),
    seeing,
    width: expectationOf(
      at(table.fwhmPx).map((w, i) => w / seeing[i]),
      "low",
    ),
    eccentricity: expectationOf(at(table.eccentricity), "low"),
  };
}

/** Relative width of stars by airmass, X^0.6 (Kolmogorov turbulence; Fried 1966); 1 where the airmass is not known. */
const seeingLaw = (airmass: number) => (airmass > 0 ? airmass ** 0.6 : 1);

/** Pairs of so many subs give the slope; more would take long and change nothing. */
const mostPaired = 100;

/** y = base + slope x by the median of the slopes of pairs (Theil 1950, Sen 1968), never falling. */
function slopeOf(x: Float64Array, y: Float64Array): { base: number; slope: number } {
  const step = Math.max(1, Math.ceil(x.length / mostPaired));
  const slopes: number[] = [];
  for (let i = 0; i < x.length; i += step)
    for (let j = i + step; j < x.length; j += step) if (x[j] !== x[i]) slopes.push((y[j] - y[i]) / (x[j] - x[i]));
  const slope = slopes.length > 0 ? Math.max(0, median(slopes)) : 0;
  return { slope, base: median(y.map((v, i) => v - slope * x[i])) };
}
