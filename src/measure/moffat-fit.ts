import { compareMoffat, emptyEquations, fillWeights, moffatParameters, type NormalEquations } from "./moffat-model.js";
import type { Moments } from "./moments.js";
import type { Stamp } from "./stamp.js";

/** An elliptical Moffat profile that fits a star; widths are those before the pixel blurred it. */
export interface MoffatFit {
  readonly x: number;
  readonly y: number;
  readonly fwhmMajor: number;
  readonly fwhmMinor: number;
  /** Direction of the major axis from +x towards +y, radians. */
  readonly angle: number;
  readonly beta: number;
  readonly peak: number;
  /** Level under the star, above the stamp's. */
  readonly sky: number;
  /** Chi-square per degree of freedom under the weights given. */
  readonly reducedChi2: number;
}

export interface MoffatOptions {
  readonly radius: number;
  readonly skyVariance: number;
  readonly perValue: number;
  /** Fixed beta; NaN: free. */
  readonly beta: number;
}

const leastBeta = 1.1;
/** As good as a Gaussian. */
const mostBeta = 500;
const mostSteps = 30;
/** Steps end when chi-square falls by less, in units of the reduced one where that is above 1. */
const enough = 0.02;
let now: NormalEquations = emptyEquations();
let next: NormalEquations = emptyEquations();
const factor = new Float64Array(moffatParameters * moffatParameters);
const step = new Float64Array(moffatParameters);

/** Width of a Moffat profile in units of its scale: FWHM = 2 sqrt(2^(1/beta) - 1) alpha. */
export const moffatFwhm = (beta: number) => 2 * Math.sqrt(2 ** (1 / beta) - 1);

/** Share of a Moffat profile's light within a radius given in FWHM: 1 - (1 + (r/alpha)^2)^(1 - beta). */
export function moffatEnclosed(radiusInFwhm: number, beta: number): number {
  const radius = radiusInFwhm * moffatFwhm(beta);
  return beta > 1 ? 1 - (1 + radius * radius) ** (1 - beta) : Number.NaN;
}

/**
 * Fits an elliptical Moffat profile and a constant sky to a stamp (Levenberg-Marquardt on pixel integrals).
 * @param moments - of the same stamp, as the first guess
 * @returns null when the fit does not settle on something star-like
 */
export function fitMoffat(stamp: Stamp, moments: Moments, options: MoffatOptions): MoffatFit | null {
  const free = Number.isNaN(options.beta);
  const p = firstGuess(moments, free ? 3 : options.beta);
  const { radius, skyVariance, perValue } = options;
  // Twice: the first solution gives better weights for the second.
  for (let pass = 0; pass < 2; pass++) {
    fillWeights(p, stamp, skyVariance, perValue);
    if (!improve(p, stamp, radius, free ? 8 : 7)) return null;
  }
  return describe(p, now.chi2, stamp, radius);
}

/** Levenberg-Marquardt steps on the first `count` parameters until chi-square settles. */
function improve(p: Float64Array, stamp: Stamp, radius: number, count: number): boolean {
  const trial = new Float64Array(moffatParameters);
  if (!compareMoffat(p, stamp, radius, now)) return false;
  const perFreedom = 1 / freedomOf(radius);
  let damping = 1e-3;
  for (let round = 0; round < mostSteps; round++) {
    if (!solve(now, damping, count) || (count > 7 && !stayWithin(now, damping, p[7]!))) {
      damping *= 10;
      if (damping > 1e6) return false;
      continue;
    }
    trial.set(p);
    for (let i = 0; i < count; i++) trial[i]! += step[i]!;
    const sound =
      trial[0]! > 0 &&
      trial[4]! > 0 &&
      trial[6]! > 0 &&
      trial[4]! * trial[6]! > trial[5]! * trial[5]! &&
      compareMoffat(trial, stamp, radius, next);
    const gain = sound ? now.chi2 - next.chi2 : Number.NEGATIVE_INFINITY;
    // Where no profile fits, errors are larger in proportion, and finer steps mean nothing.
    const settled = enough * Math.max(1, now.chi2 * perFreedom);
    if (gain > 0) {
      p.set(trial);
      [now, next] = [next, now];
      damping = Math.max(1e-7, damping / 10);
      if (gain < settled) return true;
    } else {
      if (gain > -settled) return true;
      damping *= 8;
      if (damping > 1e7) return false;
    }
  }
  return true;
}

const freedomOf = (radius: number) => Math.max(1, Math.PI * radius * radius - moffatParameters);

function firstGuess({ x, y, xx, xy, yy, flux }: Moments, beta: number): Float64Array {
  const determinant = xx * yy - xy * xy;
  // Adaptive moments of a Moffat star are those of a Gaussian with FWHM about 2.05 sigma.
  const scale = beta * (moffatFwhm(beta) / 2.05) ** 2;
  const peak = (1.15 * flux) / (2 * Math.PI * Math.sqrt(determinant));
  return Float64Array.of(
    peak,
    0,
    x,
    y,
    (scale * yy) / determinant,
    (-scale * xy) / determinant,
    (scale * xx) / determinant,
    1 / beta,
  );
}

function describe(p: Float64Array, chi2: number, stamp: Stamp, radius: number): MoffatFit | null {
  const beta = 1 / p[7]!;
  const a = p[4]! / beta;
  const b = p[5]! / beta;
  const c = p[6]! / beta;
  const middle = (a + c) / 2;
  const half = Math.sqrt(((a - c) / 2) ** 2 + b * b);
  const width = moffatFwhm(beta);
  const fwhmMajor = width / Math.sqrt(middle - half);
  const fwhmMinor = width / Math.sqrt(middle + half);
  const inside = Math.hypot(p[2]!, p[3]!) < radius / 2;
  if (!inside || !(fwhmMajor < 2 * stamp.side) || !(fwhmMinor > 0.2)) return null;
  return {
    x: p[2]!,
    y: p[3]!,
    fwhmMajor,
    fwhmMinor,
    angle: 0.5 * Math.atan2(-2 * b, c - a),
    beta,
    peak: p[0]!,
    sky: p[1]!,
    reducedChi2: chi2 / freedomOf(radius),
  };
}

/**
 * Where a step would take 1 / beta beyond its limits, it goes to the limit, and the other parameters' steps are those
 * that are best then. Cut off only, steps would zigzag along the limit, tens of them where stars are flatter than any
 * Moffat profile.
 * @returns false when the equations cannot be solved
 */
function stayWithin(equations: NormalEquations, damping: number, perBeta: number): boolean {
  const kept = Math.max(1 / mostBeta, Math.min(1 / leastBeta, perBeta + step[7]!));
  if (kept === perBeta + step[7]!) return true;
  const given = kept - perBeta;
  if (!solve(equations, damping, 7, given)) return false;
  step[7] = given;
  return true;
}

/**
 * Solves the damped normal equations for the first `count` parameters by Cholesky's method; the step is in `step`.
 * @param given - step of 1 / beta that is made anyway, where `count` leaves it out
 */
function solve({ matrix, right }: NormalEquations, damping: number, count: number, given = 0): boolean {
  const n = moffatParameters;
  step.fill(0);
  for (let i = 0; i < count; i++)
    for (let j = 0; j <= i; j++) {
      let sum = matrix[i * n + j]! * (i === j ? 1 + damping : 1);
      for (let k = 0; k < j; k++) sum -= factor[i * n + k]! * factor[j * n + k]!;
      if (i !== j) factor[i * n + j] = sum / factor[j * n + j]!;
      else if (sum > 0) factor[i * n + i] = Math.sqrt(sum);
      else return false;
    }
  for (let i = 0; i < count; i++) {
    let sum = right[i]! - (count < n ? given * matrix[7 * n + i]! : 0);
    for (let k = 0; k < i; k++) sum -= factor[i * n + k]! * step[k]!;
    step[i] = sum / factor[i * n + i]!;
  }
  for (let i = count - 1; i >= 0; i--) {
    let sum = step[i]!;
    for (let k = i + 1; k < count; k++) sum -= factor[k * n + i]! * step[k]!;
    step[i] = sum / factor[i * n + i]!;
  }
  return true;
}
