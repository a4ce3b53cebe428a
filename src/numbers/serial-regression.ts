import { invertPositive } from "./cholesky.js";
import { type SerialNoise, type Whitener, whitened, whitenerFor } from "./serial-noise.js";

/** A regression over several series with autocorrelated noise, each series with its own level. */
export interface SerialFit {
  readonly coefficients: Float64Array;
  readonly standardErrors: Float64Array;
  readonly degreesOfFreedom: number;
  readonly noise: SerialNoise;
  /** Variance of the noise, both parts together. */
  readonly sigma2: number;
  /**
   * Columns and data for tests, levels removed, the columns not freed of one another: whitened with the slowest noise
   * that is still likely, where coefficients and errors are those of the most likely one.
   */
  readonly columns: readonly Float64Array[];
  readonly y: Float64Array;
  /** The fit for every noise of {@link noiseGrid}, for those who average over them. */
  readonly grid: readonly GridFit[];
}

/** What a fit for one noise comes to. */
export type GridFit = Pick<Solved, "logLikelihood" | "coefficients" | "covariance" | "sigma2" | "noise">;

/** Where noise is looked for. */
const rhos = [0, 0.2, 0.4, 0.55, 0.7, 0.8, 0.87, 0.92, 0.96, 0.985];
const shares = [0.3, 0.6, 0.85, 1];

/**
 * Generalised least squares with the noise of {@link SerialNoise}, its two numbers by restricted maximum likelihood
 * (Patterson & Thompson 1971, Biometrika 58, 545), which does not mistake a fitted trend for little autocorrelation. A
 * grid, then a narrowing search in rho.
 * @param starts - first index of each series, and the number of values at the end
 * @returns null when the columns are collinear or fewer than five degrees of freedom remain
 */
export function serialRegression(
  columns: readonly ArrayLike<number>[],
  y: ArrayLike<number>,
  starts: ArrayLike<number>,
): SerialFit | null {
  let longest = 0;
  for (let s = 0; s + 1 < starts.length; s++) longest = Math.max(longest, starts[s + 1] - starts[s]);
  const degreesOfFreedom = y.length - (starts.length - 1) - columns.length;
  if (degreesOfFreedom < 5) return null;
  // Only the numbers are kept of each attempt, not its columns.
  const tried: { readonly noise: SerialNoise; readonly logLikelihood: number }[] = [];
  const attempt = (noise: SerialNoise) => {
    const solved = solve(columns, y, starts, whitenerFor(noise, longest), degreesOfFreedom);
    if (solved !== null) tried.push({ noise, logLikelihood: solved.logLikelihood });
    return solved;
  };
  let best: Solved | null = null;
  const grid: GridFit[] = [];
  for (const noise of noiseGrid()) {
    const next = attempt(noise);
    if (next !== null) {
      const { logLikelihood, coefficients, covariance, sigma2 } = next;
      grid.push({ logLikelihood, coefficients, covariance, sigma2, noise });
    }
    if (next !== null && (best === null || next.logLikelihood > best.logLikelihood)) best = next;
  }
  if (best === null) return null;
  for (let width = 0.06; width > 0.004; width /= 2) {
    const { rho, share } = best.noise;
    for (const change of [-width, width]) {
      const next = attempt({ rho: Math.min(0.99, Math.max(0, rho + change * (1 - rho) * 2)), share });
      if (next !== null && next.logLikelihood > best.logLikelihood) best = next;
    }
  }
  // For tests, of noises that are likely about equally, the slowest: a night is short, and slow noise taken for less slow
  // makes chance trends look proven (with the most likely noise, 10 to 15 % of null nights instead of 5 at rho 0.8 to 0.9).
  let slowest = best.noise;
  const likely = best.logLikelihood - slack;
  for (const one of tried)
    if (one.logLikelihood >= likely && slowness(one.noise) > slowness(slowest)) slowest = one.noise;
  const cautious = (slowest === best.noise ? best : attempt(slowest)) ?? best;
  const { coefficients, covariance, sigma2, noise } = best;
  const p = columns.length;
  return {
    coefficients,
    standardErrors: Float64Array.from(coefficients, (_, i) => Math.sqrt(sigma2 * covariance[i * p + i])),
    degreesOfFreedom,
    noise,
    sigma2,
    columns: cautious.columns,
    y: cautious.y,
    grid,
  };
}

/** Noises from white to nearly as slow as a night is long. */
export const noiseGrid = (): SerialNoise[] =>
  shares.flatMap((share) => rhos.flatMap((rho) => (rho === 0 && share < 1 ? [] : [{ rho, share }])));

/**
 * How much of 0 to 1 lies nearest to a rho of {@link noiseGrid}, which is denser towards 1 because likelihoods change faster
 * there: the weight that makes an average over the grid one over evenly spread rho.
 */
export function rhoWidth(rho: number): number {
  const at = rhos.indexOf(rho);
  const [low, high] = [rhos[at - 1], rhos[at + 1]];
  return (high === undefined ? 1 : (rho + high) / 2) - (low === undefined ? 0 : (low + rho) / 2);
}

/** In log-likelihood: about 1.4 standard errors of the noise's numbers. */
const slack = 1;
/** The excess of the variance of a long mean over that of white noise. */
const slowness = ({ rho, share }: SerialNoise) => (share * rho) / (1 - rho);

/** Generalised least squares for one noise. */
export interface Solved {
  /** Restricted, up to a constant. */
  readonly logLikelihood: number;
  readonly coefficients: Float64Array;
  readonly covariance: Float64Array;
  readonly sigma2: number;
  readonly noise: SerialNoise;
  readonly columns: readonly Float64Array[];
  readonly y: Float64Array;
}

/** The fit for one noise; null when the columns are collinear or explain everything. */
export function solve(
  columns: readonly ArrayLike<number>[],
  y: ArrayLike<number>,
  starts: ArrayLike<number>,
  whitener: Whitener,
  degreesOfFreedom: number,
): Solved | null {
  const level = whitened(new Float64Array(y.length).fill(1), starts, whitener);
  const levelSquares = new Float64Array(starts.length - 1);
  let logDeterminant = 0;
  for (let s = 0; s + 1 < starts.length; s++) {
    for (let i = starts[s]; i < starts[s + 1]; i++) levelSquares[s] += level[i] * level[i];
    logDeterminant += whitener.logVariance[starts[s + 1] - starts[s]] + Math.log(levelSquares[s]);
  }
  const free = (values: ArrayLike<number>): Float64Array => {
    const white = whitened(values, starts, whitener);
    for (let s = 0; s + 1 < starts.length; s++) {
      let sum = 0;
      for (let i = starts[s]; i < starts[s + 1]; i++) sum += white[i] * level[i];
      const factor = sum / levelSquares[s];
      for (let i = starts[s]; i < starts[s + 1]; i++) white[i] -= factor * level[i];
    }
    return white;
  };
  const white = columns.map(free);
  const data = free(y);
  const p = columns.length;
  const matrix = new Float64Array(p * p);
  const right = new Float64Array(p);
  for (let i = 0; i < p; i++) {
    for (let j = 0; j <= i; j++) matrix[i * p + j] = dot(white[i], white[j]);
    right[i] = dot(white[i], data);
  }
  const inverse = invertPositive(matrix, p);
  if (inverse === null) return null;
  const coefficients = new Float64Array(p);
  let rss = dot(data, data);
  for (let i = 0; i < p; i++) {
    for (let j = 0; j < p; j++) coefficients[i] += inverse.inverse[i * p + j] * right[j];
    rss -= coefficients[i] * right[i];
  }
  if (!(rss > 0)) return null;
  const logLikelihood = -0.5 * (degreesOfFreedom * Math.log(rss) + logDeterminant + inverse.logDeterminant);
  const sigma2 = rss / degreesOfFreedom;
  const { noise } = whitener;
  return { logLikelihood, coefficients, covariance: inverse.inverse, sigma2, noise, columns: white, y: data };
}

export function dot(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i] * b[i];
  return sum;
}
