/** Second moments of a star's image, px^2. */
export interface Moments {
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
}

/** FWHM^2 of a Gaussian over its variance. */
const fwhm2OfVariance = 8 * Math.LN2;

/**
 * Moments from a frame's width and shape. The FWHM stands for the mean of the variances along both axes.
 * @param angleDeg - of the long axis, from +x towards +y; NaN is taken as 0
 */
export function momentsOf(fwhmPx: number, eccentricity: number, angleDeg: number): Moments {
  const mean = fwhmPx ** 2 / fwhm2OfVariance;
  const square = 1 - (Number.isFinite(eccentricity) ? eccentricity : 0) ** 2;
  // b^2 / a^2 = 1 - e^2 and (a^2 + b^2) / 2 = mean.
  const half = (mean * (1 - square)) / (1 + square);
  const angle = (2 * (Number.isFinite(angleDeg) ? angleDeg : 0) * Math.PI) / 180;
  return { xx: mean + half * Math.cos(angle), yy: mean - half * Math.cos(angle), xy: half * Math.sin(angle) };
}

/** The other way round. */
export function shapeOf({ xx, xy, yy }: Moments): { fwhmPx: number; eccentricity: number; elongationAngleDeg: number } {
  const mean = (xx + yy) / 2;
  const half = Math.hypot((xx - yy) / 2, xy);
  const angle = (Math.atan2(2 * xy, xx - yy) * 90) / Math.PI;
  return {
    fwhmPx: Math.sqrt(mean * fwhm2OfVariance),
    eccentricity: Math.sqrt(Math.max(0, 1 - Math.max(0, mean - half) / (mean + half))),
    elongationAngleDeg: angle < 0 ? angle + 180 : angle,
  };
}

/** Moments of a sum of images: their mean, weighted by light. */
export function meanMoments(parts: readonly Moments[], weights: readonly number[]): Moments {
  const total = weights.reduce((a, b) => a + b, 0);
  const mean = (of: (part: Moments) => number) =>
    parts.reduce((sum, part, i) => sum + weights[i] * of(part), 0) / total;
  return { xx: mean(({ xx }) => xx), xy: mean(({ xy }) => xy), yy: mean(({ yy }) => yy) };
}
