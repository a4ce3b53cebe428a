/**
 * How much brighter the zenith is in twilight than at full night: a polynomial through the curve that Meinel & Meinel
 * ("Sunsets, Twilights, and Evening Skies", 1983, p. 38) print, as fitted by J. R. Thorstensen, who found it to follow
 * measurements in B.
 * @param sunAltitudeDeg - without refraction
 * @returns magnitudes; 0 when the Sun is below -18 degrees (the curve itself ends at 0.03), NaN when it is above -0.9,
 * where the curve ends and day begins
 */
export function twilightBrighteningMag(sunAltitudeDeg: number): number {
  if (sunAltitudeDeg < -18) return 0;
  if (!(sunAltitudeDeg <= -0.9)) return Number.NaN;
  const y = (-sunAltitudeDeg - 9) / 9;
  return ((2.0635175 * y + 1.246602) * y - 9.4084495) * y + 6.132725;
}
