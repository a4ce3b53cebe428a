import { CallError } from "../terms/errors.js";
import { invertPositive } from "./cholesky.js";

/** What a logistic regression is fitted to. */
export interface LogisticData {
  /** Explanatory variables without the intercept, which is always there. Finite. */
  readonly columns: readonly ArrayLike<number>[];
  /** Events of each row: 0 or 1, or a count up to `trials`. */
  readonly events: ArrayLike<number>;
  /** Trials of each row; 1 when left out. */
  readonly trials?: ArrayLike<number>;
  /** Added to each row's log-odds. */
  readonly offset?: ArrayLike<number>;
}

/** `firth`: with the penalty that keeps estimates finite and nearly unbiased. `none`: maximum likelihood. */
export type LogisticPenalty = "firth" | "none";

/** A fitted logistic regression: log-odds of an event. */
export interface LogisticFit {
  /** Intercept first, then one a column. */
  readonly coefficients: Float64Array;
  /** From the information matrix at the estimate (Wald); intervals are better taken from the profile. */
  readonly standardErrors: Float64Array;
  /** With the penalty when there is one. */
  readonly logLikelihood: number;
  /** Probability of an event for each row. */
  readonly fitted: Float64Array;
  readonly converged: boolean;
}

export interface LogisticOptions {
  readonly penalty?: LogisticPenalty;
  /** Coefficients that stay at their start value, by index (0 is the intercept). */
  readonly fixed?: readonly number[];
  readonly start?: ArrayLike<number>;
}

/**
 * Logistic regression by Newton's method, with Firth's penalty by default (Firth 1993, Biometrika 80, 27; Heinze &
 * Schemper 2002, Stat. Med. 21, 2409): the score gets h (1/2 - p), h the leverages, so that separated data have a finite
 * answer. With few events the plain estimate is biased away from 0; this one is not.
 * Its fitted probabilities lean towards 1/2: see {@link interceptCorrected} before showing them.
 * @throws CallError when the columns are collinear or rows are missing
 */
export function logisticRegression(data: LogisticData, options: LogisticOptions = {}): LogisticFit {
  const { penalty = "firth", fixed = [], start } = options;
  const n = data.events.length;
  const size = data.columns.length + 1;
  for (const column of data.columns)
    if (column.length !== n) throw new CallError(`A column has ${column.length} rows, the events have ${n}`);
  const rows = designRows(data.columns, n);
  const free = Array.from({ length: size }, (_, i) => i).filter((i) => !fixed.includes(i));
  const state = (beta: Float64Array) => evaluate(data, rows, beta, penalty);
  let beta = start === undefined ? new Float64Array(size) : Float64Array.from(start);
  let now = state(beta);
  if (now === null) throw new CallError("The columns of a logistic regression are collinear, or far too large");
  let converged = false;
  for (let iteration = 0; iteration < 200 && !converged; iteration++) {
    const step = newtonStep(now, free, size);
    if (step === null) break;
    let scale = Math.min(1, 5 / Math.max(...step.map(Math.abs), 1e-300));
    let next: State | null = null;
    let candidate = beta;
    // Halved until the likelihood rises: far from the answer Newton's step can overshoot.
    for (let halving = 0; halving < 30; halving++, scale /= 2) {
      candidate = beta.map((b, i) => b + scale * step[i]);
      next = state(candidate);
      if (next !== null && next.logLikelihood >= now.logLikelihood - 1e-12 * Math.abs(now.logLikelihood)) break;
    }
    if (next === null) break;
    converged = candidate.every((b, i) => Math.abs(b - beta[i]) <= 1e-11 * (1 + Math.abs(b)));
    beta = candidate;
    now = next;
  }
  return {
    coefficients: beta,
    standardErrors: Float64Array.from(beta, (_, i) => Math.sqrt(now.covariance[i * size + i])),
    logLikelihood: now.logLikelihood,
    fitted: now.fitted,
    converged,
  };
}

/**
 * The fit with its intercept re-estimated by maximum likelihood, the other coefficients held: mean probability and
 * observed rate agree again (FLIC, Puhr et al. 2017, Stat. Med. 36, 2302).
 */
export function interceptCorrected(data: LogisticData, fit: LogisticFit): LogisticFit {
  const fixed = data.columns.map((_, i) => i + 1);
  return logisticRegression(data, { penalty: "none", fixed, start: fit.coefficients });
}

interface State {
  readonly logLikelihood: number;
  readonly score: Float64Array;
  readonly information: Float64Array;
  readonly covariance: Float64Array;
  readonly fitted: Float64Array;
}

/** Columns to rows, intercept first: the loops below run along rows. */
function designRows(columns: readonly ArrayLike<number>[], n: number): Float64Array {
  const size = columns.length + 1;
  const rows = new Float64Array(n * size).fill(1);
  columns.forEach((column, j) => {
    for (let i = 0; i < n; i++) rows[i * size + j + 1] = column[i];
  });
  return rows;
}

function evaluate(data: LogisticData, rows: Float64Array, beta: Float64Array, penalty: LogisticPenalty): State | null {
  const { events, trials, offset } = data;
  const n = events.length;
  const size = beta.length;
  const fitted = new Float64Array(n);
  const information = new Float64Array(size * size);
  let logLikelihood = 0;
  for (let i = 0; i < n; i++) {
    let eta = offset === undefined ? 0 : offset[i];
    for (let j = 0; j < size; j++) eta += beta[j] * rows[i * size + j];
    const m = trials === undefined ? 1 : trials[i];
    const small = Math.exp(-Math.abs(eta));
    fitted[i] = eta >= 0 ? 1 / (1 + small) : small / (1 + small);
    logLikelihood += events[i] * eta - m * (Math.max(eta, 0) + Math.log1p(small));
    const w = (m * small) / (1 + small) ** 2;
    for (let j = 0; j < size; j++) {
      const wx = w * rows[i * size + j];
      for (let k = 0; k <= j; k++) information[j * size + k] += wx * rows[i * size + k];
    }
  }
  const solved = invertPositive(information, size);
  if (solved === null) return null;
  const covariance = solved.inverse;
  const score = new Float64Array(size);
  for (let i = 0; i < n; i++) {
    const m = trials === undefined ? 1 : trials[i];
    let left = events[i] - m * fitted[i];
    if (penalty === "firth") {
      let leverage = 0;
      for (let j = 0; j < size; j++) {
        let sum = 0;
        for (let k = 0; k < size; k++) sum += covariance[j * size + k] * rows[i * size + k];
        leverage += sum * rows[i * size + j];
      }
      left += m * fitted[i] * (1 - fitted[i]) * leverage * (0.5 - fitted[i]);
    }
    for (let j = 0; j < size; j++) score[j] += left * rows[i * size + j];
  }
  if (penalty === "firth") logLikelihood += solved.logDeterminant / 2;
  return { logLikelihood, score, information, covariance, fitted };
}

/** Information^-1 x score over the free coefficients; 0 for the fixed ones. */
function newtonStep(state: State, free: readonly number[], size: number): Float64Array | null {
  const step = new Float64Array(size);
  const part = new Float64Array(free.length * free.length);
  free.forEach((a, i) => {
    free.slice(0, i + 1).forEach((b, j) => {
      part[i * free.length + j] = state.information[a * size + b];
    });
  });
  const solved = free.length === size ? { inverse: state.covariance } : invertPositive(part, free.length);
  if (solved === null) return null;
  free.forEach((a, i) => {
    free.forEach((b, j) => {
      step[a] += solved.inverse[i * free.length + j] * state.score[b];
    });
  });
  return step;
}
