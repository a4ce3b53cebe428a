import type { Stamp } from "./stamp.js";

/**
 * Parameters: peak, sky, x, y, then beta times the inverse-square widths xx, xy, yy, then 1 / beta. In these, a Gaussian
 * is an ordinary place (1 / beta = 0), which fits reach in a few steps.
 */
export const moffatParameters = 8;

/** Normal equations of a least-squares step: matrix (lower triangle, row after row of 8), right side, chi-square. */
export interface NormalEquations {
  readonly matrix: Float64Array;
  readonly right: Float64Array;
  chi2: number;
}

export const emptyEquations = (): NormalEquations => ({
  matrix: new Float64Array(moffatParameters * moffatParameters),
  right: new Float64Array(moffatParameters),
  chi2: 0,
});

/** Place of the two Gauss-Legendre points in a pixel: 1 / (2 sqrt 3). */
const gauss = 0.28867513459481287;
/** Stars of a smaller FWHM than this (pixels) get four points a pixel in their middle. */
const sharp = 3;

/** Numbers that the kernel leaves: matrix, right side, chi-square. */
const equations = 73;

const slope = new Float64Array(moffatParameters);

/**
 * Compares the elliptical Moffat profile I = A u^-beta, u = 1 + a dx^2 + 2 b dx dy + c dy^2 (Moffat 1969), integrated
 * over pixels, with a stamp, so the width that comes out is the one before the pixel blurred it. The integral over a
 * pixel is I + (laplacian of I) / 24 up to fourth order; in the middle of sharp stars, where that is not enough, it is
 * the mean of four Gauss-Legendre points.
 * @param stamp - with weights from {@link fillWeights}
 * @param radius - pixels farther from the middle of the stamp than this do not count
 * @returns false where the profile is not defined
 */
export function compareMoffat(p: Float64Array, stamp: Stamp, radius: number, into: NormalEquations): boolean {
  const { values, side, weights, kernels } = stamp;
  const { matrix, right } = into;
  const middle = stamp.radius;
  const peak = p[0]!;
  const sky = p[1]!;
  const x0 = p[2]!;
  const y0 = p[3]!;
  const perBeta = p[7]!;
  const beta = 1 / perBeta;
  const a = p[4]! * perBeta;
  const b = p[5]! * perBeta;
  const c = p[6]! * perBeta;
  const limit = (radius + 0.3) * (radius + 0.3);
  const whole = Math.floor(radius + 0.3);
  const trace = 2 * (a + c);
  // FWHM^2 of a round star is 4 (2^(1/beta) - 1) / a.
  const width2 = (8 * (2 ** (1 / beta) - 1)) / (a + c);
  const fine = width2 < sharp * sharp ? 2 * width2 : 0;
  if (kernels !== null) {
    const { out, rows } = stamp;
    out.set(p, equations);
    const at = out.byteOffset;
    const from = at + 8 * equations;
    if (!kernels.compareMoffat(from, values.byteOffset, middle, whole, weights.byteOffset, fine, at, rows.byteOffset))
      return false;
    matrix.set(out.subarray(0, 64));
    right.set(out.subarray(64, 72));
    into.chi2 = out[72]!;
    return true;
  }
  let chi2 = 0;
  matrix.fill(0);
  right.fill(0);
  for (let py = -whole; py <= whole; py++)
    for (let px = -whole; px <= whole; px++) {
      if (px * px + py * py > limit) continue;
      const at = (py + middle) * side + px + middle;
      const value = values[at]!;
      if (Number.isNaN(value)) continue;
      const points = px * px + py * py < fine ? 4 : 1;
      const share = 1 / points;
      let model = 0;
      let slopeX = 0;
      let slopeY = 0;
      let slopeA = 0;
      let slopeB = 0;
      let slopeC = 0;
      let slopePerBeta = 0;
      for (let point = 0; point < points; point++) {
        const dx = px - x0 + (points === 1 ? 0 : point & 1 ? gauss : -gauss);
        const dy = py - y0 + (points === 1 ? 0 : point & 2 ? gauss : -gauss);
        const halfX = a * dx + b * dy;
        const halfY = b * dx + c * dy;
        const u = 1 + halfX * dx + halfY * dy;
        if (!(u > 0)) return false;
        const logU = Math.log(u);
        const shape = Math.exp(-beta * logU) * share;
        const overU = 1 / u;
        const perU = -beta * peak * shape * overU;
        model += shape;
        if (points === 1) {
          const laplacian =
            beta * shape * overU * overU * (4 * (beta + 1) * (halfX * halfX + halfY * halfY) - u * trace);
          // The small term is left out of the slopes: they only steer the steps.
          model += laplacian / 24;
        }
        slopeX -= 2 * perU * halfX;
        slopeY -= 2 * perU * halfY;
        slopeA += perU * perBeta * dx * dx;
        slopeB += 2 * perU * perBeta * dx * dy;
        slopeC += perU * perBeta * dy * dy;
        slopePerBeta += peak * shape * beta * beta * (logU - (u - 1) * overU);
      }
      const residual = value - sky - peak * model;
      const weight = weights[at]!;
      chi2 += residual * residual * weight;
      slope[0] = model;
      slope[1] = 1;
      slope[2] = slopeX;
      slope[3] = slopeY;
      slope[4] = slopeA;
      slope[5] = slopeB;
      slope[6] = slopeC;
      slope[7] = slopePerBeta;
      for (let i = 0; i < moffatParameters; i++) {
        const weighted = slope[i]! * weight;
        right[i]! += weighted * residual;
        for (let j = 0; j <= i; j++) matrix[i * moffatParameters + j]! += weighted * slope[j]!;
      }
    }
  into.chi2 = chi2;
  return true;
}

/**
 * Weights 1 / variance of the pixels under a profile. They come from the profile, never from the pixels themselves:
 * those would favour every pixel that happens to be low, and read the star too sharp.
 * @param skyVariance - variance of a pixel without starlight
 * @param perValue - variance that each unit of starlight adds (1 / gain)
 */
export function fillWeights(p: Float64Array, stamp: Stamp, skyVariance: number, perValue: number): void {
  const { side, radius, weights, kernels, out } = stamp;
  if (kernels !== null) {
    out.set(p);
    kernels.moffatWeights(out.byteOffset, radius, skyVariance, perValue, weights.byteOffset);
    return;
  }
  for (let y = 0; y < side; y++)
    for (let x = 0; x < side; x++) {
      const dx = x - radius - p[2]!;
      const dy = y - radius - p[3]!;
      const u = 1 + p[7]! * (p[4]! * dx * dx + 2 * p[5]! * dx * dy + p[6]! * dy * dy);
      weights[y * side + x] = 1 / (skyVariance + perValue * p[0]! * u ** (-1 / p[7]!));
    }
}
