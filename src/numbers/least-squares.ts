import { CallError } from "../terms/errors.js";
import { fTail } from "./tails.js";

/** A fitted linear regression. */
export interface LinearFit {
  /** Intercept first, then one for each column. */
  readonly coefficients: Float64Array;
  readonly standardErrors: Float64Array;
  readonly residuals: Float64Array;
  readonly residualSumOfSquares: number;
  /** Standard deviation about the fit. */
  readonly sigma: number;
  readonly rSquared: number;
  readonly degreesOfFreedom: number;
  /** Of all columns together against the intercept alone. */
  readonly f: number;
  readonly p: number;
}

/**
 * Linear regression with an intercept, by Householder's QR on centred and scaled columns (Golub & Van Loan, Matrix
 * Computations, 5.3.2; centring is what carries nearly collinear data such as Longley's to ten digits).
 * @param columns - explanatory variables, all finite
 * @param y - one value a row, finite
 * @throws CallError when a column is a combination of the others, or rows are too few
 */
export function leastSquares(columns: readonly ArrayLike<number>[], y: ArrayLike<number>): LinearFit {
  const n = y.length;
  const p = columns.length;
  if (n <= p + 1) throw new CallError(`A regression on ${p} columns needs more than ${p + 1} rows, not ${n}`);
  const means = columns.map(meanOf);
  const scales = new Float64Array(p);
  const q = columns.map((column, j) => {
    const centred = Float64Array.from(column, (v) => v - means[j]);
    scales[j] = norm(centred, 0);
    if (!(scales[j] > 0)) throw new CallError(`Column ${j} of a regression does not vary`);
    return centred.map((v) => v / scales[j]);
  });
  const yMean = meanOf(y);
  const rest = Float64Array.from(y, (v) => v - yMean);
  const total = norm(rest, 0) ** 2;
  const r = householder(q, rest);
  // Inverse of the upper triangle; its rows give both the coefficients and their covariances.
  const inverse = r.map(() => new Float64Array(p));
  for (let j = 0; j < p; j++)
    for (let i = j; i >= 0; i--) {
      let sum = i === j ? 1 : 0;
      for (let k = i + 1; k <= j; k++) sum -= r[k][i] * inverse[j][k];
      inverse[j][i] = sum / r[i][i];
    }
  let rss = 0;
  for (let i = p; i < n; i++) rss += rest[i] * rest[i];
  const degreesOfFreedom = n - p - 1;
  const sigma = Math.sqrt(rss / degreesOfFreedom);
  const coefficients = new Float64Array(p + 1);
  const standardErrors = new Float64Array(p + 1);
  for (let i = 0; i < p; i++) {
    let [b, variance] = [0, 0];
    for (let j = i; j < p; j++) {
      b += inverse[j][i] * rest[j];
      variance += inverse[j][i] ** 2;
    }
    coefficients[i + 1] = b / scales[i];
    standardErrors[i + 1] = (sigma * Math.sqrt(variance)) / scales[i];
  }
  let [intercept, leverage] = [yMean, 1 / n];
  for (let i = 0; i < p; i++) intercept -= coefficients[i + 1] * means[i];
  for (let j = 0; j < p; j++) {
    let sum = 0;
    for (let i = 0; i <= j; i++) sum += (inverse[j][i] * means[i]) / scales[i];
    leverage += sum * sum;
  }
  coefficients[0] = intercept;
  standardErrors[0] = sigma * Math.sqrt(leverage);
  const residuals = Float64Array.from(y, (v, row) => {
    let left = v - yMean;
    for (let j = 0; j < p; j++) left -= coefficients[j + 1] * (columns[j][row] - means[j]);
    return left;
  });
  const f = (total - rss) / p / (rss / degreesOfFreedom);
  return {
    coefficients,
    standardErrors,
    residuals,
    residualSumOfSquares: rss,
    sigma,
    rSquared: 1 - rss / total,
    degreesOfFreedom,
    f,
    p: p > 0 ? fTail(f, p, degreesOfFreedom) : Number.NaN,
  };
}

/** Reflects the columns to an upper triangle (r[k][i]: column k, row i) and `rest` along with them. */
function householder(q: Float64Array[], rest: Float64Array): Float64Array[] {
  const p = q.length;
  for (let j = 0; j < p; j++) {
    const column = q[j];
    const length = norm(column, j);
    // A scaled column has length 1, so this is the share that the others leave.
    if (!(length > 1e-12)) throw new CallError(`Column ${j} of a regression is a combination of those before it`);
    const alpha = column[j] > 0 ? -length : length;
    const v = column.slice(j);
    v[0] -= alpha;
    const half = -alpha * v[0];
    for (const other of [...q.slice(j + 1), rest]) {
      let dot = 0;
      for (let i = 0; i < v.length; i++) dot += v[i] * other[i + j];
      const factor = dot / half;
      for (let i = 0; i < v.length; i++) other[i + j] -= factor * v[i];
    }
    column[j] = alpha;
  }
  return q;
}

function norm(values: Float64Array, from: number): number {
  let sum = 0;
  for (let i = from; i < values.length; i++) sum += values[i] * values[i];
  return Math.sqrt(sum);
}

/** The mean with one correction pass, which takes out the rounding of the first. */
function meanOf(values: ArrayLike<number>): number {
  let sum = 0;
  for (let i = 0; i < values.length; i++) sum += values[i];
  const mean = sum / values.length;
  let left = 0;
  for (let i = 0; i < values.length; i++) left += values[i] - mean;
  return mean + left / values.length;
}
