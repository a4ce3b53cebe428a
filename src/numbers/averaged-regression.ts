import type { Interval } from "./proportion-intervals.js";
import { whitenerFor } from "./serial-noise.js";
import { type GridFit, noiseGrid, rhoWidth, solve } from "./serial-regression.js";
import { tTwoSided } from "./tails.js";

/** What is known of one coefficient when the noise is not known. */
export interface AveragedCoefficient {
  readonly estimate: number;
  /** 90 %. */
  readonly interval: Interval;
  /** One-sided, against a coefficient of 0 or less. */
  readonly pPositive: number;
  /** The same with slow noise taken for likelier than it is: every noise of the grid, denser towards rho 1, counts alike. */
  readonly pCautious: number;
}

/**
 * Regression over several series with autocorrelated noise, each with its own level, averaged over how slow the noise may
 * be: every noise counts by its restricted likelihood (a flat prior over rho and over the shares of {@link noiseGrid};
 * Hoeting et al. 1999, Stat. Sci. 14, 382, on averaging). The one most likely noise makes p-values of short series too
 * small: 1 % became 3 to 6 % at 67 values and rho 0.8 to 0.95; it becomes 2 to 3 %
 * this way, and 1 % or so by the cautious p-value (tests/recovery/drivers-laws.test.ts).
 * @param starts - first index of each series, and the number of values at the end
 * @returns null when the columns are collinear or fewer than five degrees of freedom remain
 */
export function averagedRegression(
  columns: readonly ArrayLike<number>[],
  y: ArrayLike<number>,
  starts: ArrayLike<number>,
): AveragedCoefficient[] | null {
  const degreesOfFreedom = y.length - (starts.length - 1) - columns.length;
  if (degreesOfFreedom < 5) return null;
  let longest = 0;
  for (let s = 0; s + 1 < starts.length; s++) longest = Math.max(longest, starts[s + 1] - starts[s]);
  const fits = noiseGrid().flatMap((noise) => {
    const fit = solve(columns, y, starts, whitenerFor(noise, longest), degreesOfFreedom);
    if (fit === null) return [];
    const { logLikelihood, coefficients, covariance, sigma2 } = fit;
    return [{ logLikelihood, coefficients, covariance, sigma2, noise }];
  });
  return fits.length === 0 ? null : averagedCoefficients(fits, degreesOfFreedom);
}

/** Averages the fits for several noises, each by its likelihood and its part of the rhos. */
export function averagedCoefficients(fits: readonly GridFit[], degreesOfFreedom: number): AveragedCoefficient[] {
  const parameters = fits[0].coefficients.length;
  const best = Math.max(...fits.map(({ logLikelihood }) => logLikelihood));
  const likelihoods = fits.map(({ logLikelihood }) => Math.exp(logLikelihood - best));
  const weights = fits.map(({ noise }, k) => rhoWidth(noise.rho) * likelihoods[k]);
  const total = weights.reduce((a, b) => a + b, 0);
  const alike = likelihoods.reduce((a, b) => a + b, 0);
  return Array.from({ length: parameters }, (_, i) => {
    const parts = fits.map(({ coefficients, covariance, sigma2 }, k) => ({
      weight: weights[k] / total,
      cautious: likelihoods[k] / alike,
      estimate: coefficients[i],
      error: Math.sqrt(sigma2 * covariance[i * parameters + i]),
    }));
    const below = (value: number, by: "weight" | "cautious" = "weight") =>
      parts.reduce(
        (sum, { estimate, error, [by]: weight }) =>
          sum + (weight > 1e-9 ? weight * tBelow((value - estimate) / error, degreesOfFreedom) : 0),
        0,
      );
    const estimate = parts.reduce((sum, part) => sum + part.weight * part.estimate, 0);
    const reach = Math.max(...parts.map((part) => (part.weight > 1e-9 ? part.error : 0)));
    const at = (share: number) => crossing((value) => below(value) - share, estimate, 40 * reach);
    return {
      estimate,
      interval: { low: at(0.05), high: at(0.95) },
      pPositive: below(0),
      pCautious: below(0, "cautious"),
    };
  });
}

function tBelow(t: number, degreesOfFreedom: number): number {
  const beyond = tTwoSided(t, degreesOfFreedom) / 2;
  return t > 0 ? 1 - beyond : beyond;
}

/** Where a rising function crosses 0, within `reach` of `middle`, to a ten-thousandth of a standard error. */
function crossing(f: (x: number) => number, middle: number, reach: number): number {
  let [low, high] = [middle - reach, middle + reach];
  for (let i = 0; i < 22; i++) {
    const x = (low + high) / 2;
    if (f(x) < 0) low = x;
    else high = x;
  }
  return (low + high) / 2;
}
