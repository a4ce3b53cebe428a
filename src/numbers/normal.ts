/** Density of the standard normal distribution. */
export const normalDensity = (z: number): number => Math.exp(-0.5 * z * z) * 0.3989422804014327;

/**
 * Distribution function of the standard normal distribution, to about 1e-7 (Abramowitz & Stegun 1964, 26.2.17; the
 * coefficients are from memory, checked against tabulated values in the tests).
 * @param density - at z, where it is known already
 */
export function normalCumulative(z: number, density = normalDensity(z)): number {
  const t = 1 / (1 + 0.2316419 * Math.abs(z));
  const tail =
    density * t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  return z > 0 ? 1 - tail : tail;
}
