import { leastSquares } from "../numbers/least-squares.js";

/** A warming that doubles something, with its standard error; null in place of it: these subs cannot tell. */
export interface Doubling {
  readonly intervalC: number;
  readonly errorC: number;
  readonly subs: number;
  /** Range of sensor temperatures that the fit rests on. */
  readonly fromC: number;
  readonly toC: number;
}

/** The part of the background's variance that comes from dark current. */
export interface DarkNoise extends Doubling {
  /** Variance by dark current at `fromC`, ADU^2. */
  readonly varianceAdu2: number;
  /** The same for an interval shorter and longer by one standard error. */
  readonly ends: readonly [DarkCurve, DarkCurve];
}
/** Variance by dark current: `varianceAdu2` at `fromC`, doubling every `intervalC`. */
export type DarkCurve = Pick<DarkNoise, "intervalC" | "varianceAdu2" | "fromC">;

/** Too few or too alike subs say nothing of temperature. */
const fewest = 10;
const leastRangeC = 4;
/** Doubling intervals looked at: wider than any sensor's. */
const [shortestC, longestC, stepC] = [2, 20, 0.05];
/**
 * What dark current can do: its activation energy E lies between a half and the whole of silicon's gap of 1.12 eV (from
 * memory), and it doubles every ln 2 k T^2 / E, 3.4 C (-20 C, whole) to 9.8 C (+30 C, half). Anything else is no dark current.
 */
const [leastC, mostC] = [3.3, 10];

/**
 * Fits variance = constant + sky + dark x 2^((T - T0) / D). For each D the rest is linear; the error of D is where the sum
 * of squares has grown by one residual variance, widened for residuals that follow one another.
 * @param temperatureC - one value a sub, in time
 * @param sky - relative brightness of the sky by model
 * @param varianceAdu2 - of the background, one pixel
 */
export function fitDarkNoise(
  temperatureC: Float64Array,
  sky: Float64Array,
  varianceAdu2: Float64Array,
): DarkNoise | null {
  const range = rangeOf(temperatureC);
  if (range === null) return null;
  const columnsAt = (intervalC: number) => {
    const dark = temperatureC.map((t) => 2 ** ((t - range.fromC) / intervalC));
    return varies(sky) ? [dark, sky] : [dark];
  };
  let best: { intervalC: number; rss: number } | null = null;
  const curve: { intervalC: number; rss: number }[] = [];
  for (let intervalC = shortestC; intervalC <= longestC; intervalC += stepC) {
    const { residualSumOfSquares: rss } = leastSquares(columnsAt(intervalC), varianceAdu2);
    curve.push({ intervalC, rss });
    if (best === null || rss < best.rss) best = { intervalC, rss };
  }
  if (best === null || best.intervalC < leastC || best.intervalC > mostC) return null;
  const fit = leastSquares(columnsAt(best.intervalC), varianceAdu2);
  const dark = fit.coefficients[1];
  if (!(dark > 3 * fit.standardErrors[1])) return null;
  const residualVariance = best.rss / Math.max(1, fit.degreesOfFreedom - 1);
  const limit = best.rss + residualVariance * inflation(fit.residuals);
  const within = curve.filter(({ rss }) => rss <= limit);
  const errorC = (within[within.length - 1].intervalC - within[0].intervalC) / 2;
  // An interval that is not known to a half says that the dark current does not show.
  if (!(errorC < best.intervalC / 2)) return null;
  const curveAt = (intervalC: number): DarkCurve => ({
    intervalC,
    varianceAdu2: leastSquares(columnsAt(intervalC), varianceAdu2).coefficients[1],
    fromC: range.fromC,
  });
  return {
    intervalC: best.intervalC,
    errorC: Math.max(errorC, stepC),
    varianceAdu2: dark,
    ends: [curveAt(best.intervalC - errorC), curveAt(best.intervalC + errorC)],
    ...range,
  };
}

/** How many more hot pixels there are: exponential in temperature, by regression of the logarithm. */
export function fitHotPixels(temperatureC: Float64Array, hotPixels: Float64Array): Doubling | null {
  const used = Array.from(temperatureC.keys()).filter((i) => hotPixels[i] > 0);
  const temperature = Float64Array.from(used, (i) => temperatureC[i]);
  const range = rangeOf(temperature);
  if (range === null) return null;
  const logs = Float64Array.from(used, (i) => Math.log(hotPixels[i]));
  const fit = leastSquares([temperature], logs);
  const slope = fit.coefficients[1];
  const error = fit.standardErrors[1] * Math.sqrt(inflation(fit.residuals));
  if (!(slope > 3 * error)) return null;
  return { intervalC: Math.LN2 / slope, errorC: (Math.LN2 * error) / (slope * slope), ...range };
}

function rangeOf(temperatureC: Float64Array): { subs: number; fromC: number; toC: number } | null {
  if (temperatureC.length < fewest) return null;
  const sorted = Float64Array.from(temperatureC).sort();
  const [fromC, toC] = [sorted[0], sorted[sorted.length - 1]];
  return toC - fromC >= leastRangeC ? { subs: temperatureC.length, fromC, toC } : null;
}

const varies = (values: Float64Array) => values.some((v) => Math.abs(v - values[0]) > 1e-6);

/** Variance inflation of an estimate by residuals that follow one another: (1 + r) / (1 - r) with the lag-one correlation r. */
function inflation(residuals: Float64Array): number {
  let [lagged, all] = [0, 0];
  for (let i = 0; i < residuals.length; i++) {
    all += residuals[i] * residuals[i];
    if (i > 0) lagged += residuals[i] * residuals[i - 1];
  }
  const r = all > 0 ? Math.min(0.9, Math.max(0, lagged / all)) : 0;
  return (1 + r) / (1 - r);
}
