/** Second moments of a star's image, px^2. */
export interface Moments {
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
}

/** FWHM^2 of a Gaussian over its variance. */
const fwhm2OfVariance = 8 * Math.LN2;

/**
 * Moments from a frame's width and shape. The FWHM is that of a circle of the same area: the geometric mean of both
 * axes, as it is measured.
 * @param angleDeg - of the long axis, from +x towards +y; NaN is taken as 0
 */
export function momentsOf(fwhmPx: number, eccentricity: number, angleDeg: number): Moments {
  const axes = Math.sqrt(Math.max(1e-6, 1 - (Number.isFinite(eccentricity) ? eccentricity : 0) ** 2));
  const product = fwhmPx ** 2 / fwhm2OfVariance;
  const [long, short] = [product / axes, product * axes];
  const angle = (2 * (Number.isFinite(angleDeg) ? angleDeg : 0) * Math.PI) / 180;
  const [mean, half] = [(long + short) / 2, (long - short) / 2];
  return { xx: mean + half * Math.cos(angle), yy: mean - half * Math.cos(angle), xy: half * Math.sin(angle) };
}

/** The other way round. */
export function shapeOf({ xx, xy, yy }: Moments): { fwhmPx: number; eccentricity: number; elongationAngleDeg: number } {
  const mean = (xx + yy) / 2;
  const half = Math.hypot((xx - yy) / 2, xy);
  const [long, short] = [mean + half, Math.max(0, mean - half)];
  const angle = (Math.atan2(2 * xy, xx - yy) * 90) / Math.PI;
  return {
    fwhmPx: Math.sqrt(Math.sqrt(long * short) * fwhm2OfVariance),
    eccentricity: Math.sqrt(Math.max(0, 1 - short / long)),
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

/** Image drawn out along a direction: widths along and across it are multiplied. */
export function stretched({ xx, xy, yy }: Moments, angleDeg: number, along: number, across: number): Moments {
  const [c, s] = [Math.cos((angleDeg * Math.PI) / 180), Math.sin((angleDeg * Math.PI) / 180)];
  // The symmetric matrix that multiplies by `along` in the direction and by `across` square to it, applied from both sides.
  const [a, b, d] = [along * c * c + across * s * s, (along - across) * c * s, along * s * s + across * c * c];
  const [px, pxy, pyx, py] = [a * xx + b * xy, a * xy + b * yy, b * xx + d * xy, b * xy + d * yy];
  return { xx: px * a + pxy * b, xy: px * b + pxy * d, yy: pyx * b + py * d };
}
