import { quantile } from "../numbers/quantiles.js";
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
  /** What each star of the later sub holds of light that is not its own, beyond what the earlier one's holds. */
  readonly skyAdu: number;
}

const rounds = 12;
/** Stars farther off than this many of their errors count less (Huber's weights). */
const turn = 1.5;
/** Flat fields, colours and crowding make even bright stars differ by this much. */
const leastScatter = 0.01;
/** A star must be worth so many of its errors in both subs. */
const leastSnr = 10;
/** With fewer such stars, all are taken. */
const fewestBright = 5;

/** A star's light in one sub against another's, as a logarithm, and the error that noise leaves in it. */
export interface LogPair {
  readonly log: number;
  readonly error: number;
  /** The noise of a faint star by this star's light in the later sub. */
  readonly faintness: number;
}

/**
 * Logarithms of the stars' ratios. How bright a star is, its weight and whether it is taken are read from both subs
 * together, each by the weight of its error: that brightness does not depend on which of the two noise made brighter,
 * so that no star is taken, or counts more, for its noise. What remains of the noise's square is taken off: a centre
 * that follows the noise gains as much light as the error squared, and the logarithm loses half of that.
 * @param pairs - with light in both subs
 * @param zeroPoint - ratio of the subs, about
 */
function logPairs(pairs: readonly LightPair[], zeroPoint: number): LogPair[] {
  const faint = faintError(pairs);
  return pairs.flatMap(({ flux, error, before, beforeError }) => {
    const [weightBefore, weight] = [1 / (beforeError * beforeError), (zeroPoint / error) ** 2];
    const brightness = (before * weightBefore + (flux / zeroPoint) * weight) / (weightBefore + weight);
    const [off, offBefore] = [error / (brightness * zeroPoint), beforeError / brightness];
    if (!(off * leastSnr < 1 && offBefore * leastSnr < 1)) return [];
    return {
      log: Math.log(flux / before) - (off * off - offBefore * offBefore) / 2,
      error: Math.hypot(off, offBefore),
      faintness: faint / (brightness * zeroPoint),
    };
  });
}

/**
 * How much brighter stars are in one sub than in another: a weighted mean of logarithms in which outliers (variable
 * stars, clouds in front of some) count less. Only stars that are bright enough in both are taken ({@link sureLogs}).
 * Where stars are wider in one sub, more light of unseen stars and of the sky's structure lies under each of them, by the
 * same amount under faint and bright ones: it is looked for together with the ratio and taken off. The error is the
 * larger of what the stars' own errors say and what their scatter says.
 * @param usualSky - how much of such light there usually is, in errors of a faint star; 0: none is looked for
 */
export function fluxRatio(pairs: readonly LightPair[], usualSky = 0): LightRatio {
  const lit = pairs.filter(({ flux, before }) => flux > 0 && before > 0);
  if (lit.length === 0) return { zeroPoint: Number.NaN, zeroPointError: Number.NaN, scatter: Number.NaN, skyAdu: 0 };
  const used = sureLogs(lit);
  const logs = used.map(({ log }) => log);
  const errors = used.map(({ error }) => error);
  let middle = medianAndSigma(logs).median;
  const faintness = used.map(({ faintness }) => faintness);
  let own = leastScatter;
  let sky = 0;
  const weights = new Float64Array(logs.length);
  // First row of the inverse of the normal equations' matrix.
  let [forLog, forSky] = [0, 0];
  for (let round = 0; round < rounds; round++) {
    const left = logs.map((value, i) => value - middle - sky * faintness[i]!);
    // Scatter beyond the stated errors belongs to the stars themselves.
    const excess = medianAndSigma(left.map((value, i) => value / Math.hypot(errors[i]!, own))).sigma;
    if (logs.length >= 5 && excess > 1.05) own = Math.min(0.5, Math.max(own * Math.min(2, excess), leastScatter));
    let [weight, slope, square, sum, product] = [0, 0, 1 / (usualSky * usualSky), 0, 0];
    for (let i = 0; i < logs.length; i++) {
      const error = Math.hypot(errors[i]!, own);
      const off = Math.abs(left[i]!) / error;
      const w = (off > turn ? turn / off : 1) / (error * error);
      weights[i] = w;
      weight += w;
      sum += w * logs[i]!;
      slope += w * faintness[i]!;
      square += w * faintness[i]! * faintness[i]!;
      product += w * faintness[i]! * logs[i]!;
    }
    const determinant = weight * square - slope * slope;
    [forLog, forSky] = usualSky > 0 ? [square / determinant, -slope / determinant] : [1 / weight, 0];
    middle = forLog * sum + forSky * product;
    if (usualSky > 0) sky = forSky * sum + (weight / determinant) * product;
  }
  const zeroPoint = Math.exp(middle);
  // What the weights promise, or what the stars' scatter around the mean says (White's estimate), whichever is larger.
  let scatter = 0;
  for (let i = 0; i < logs.length; i++) {
    const pull = weights[i]! * (forLog + forSky * faintness[i]!);
    scatter += (pull * (logs[i]! - middle - sky * faintness[i]!)) ** 2;
  }
  const error = Math.sqrt(Math.max(forLog, scatter));
  return { zeroPoint, zeroPointError: zeroPoint * error, scatter: own, skyAdu: sky * faintError(lit) };
}

/** What noise makes of a faint star in the later sub. */
const faintError = (pairs: readonly LightPair[]) =>
  quantile(
    pairs.map(({ error }) => error),
    0.25,
  );

/** Logarithms of the stars that are bright enough in both; of all where those are too few. */
export function sureLogs(pairs: readonly LightPair[]): LogPair[] {
  const bright = pairs.filter(
    ({ flux, error, before, beforeError }) => flux > leastSnr * error && before > leastSnr * beforeError,
  );
  const first = bright.length >= fewestBright ? bright : pairs;
  let zeroPoint = Math.exp(medianAndSigma(first.map(({ flux, before }) => Math.log(flux / before))).median);
  let found: LogPair[] = [];
  for (let round = 0; round < 2; round++) {
    found = logPairs(pairs, zeroPoint);
    if (found.length < fewestBright)
      return pairs.map(({ flux, error, before, beforeError }) => ({
        log: Math.log(flux / before),
        error: Math.hypot(error / flux, beforeError / before),
        faintness: faintError(pairs) / flux,
      }));
    zeroPoint = Math.exp(medianAndSigma(found.map(({ log }) => log)).median);
  }
  return found;
}
