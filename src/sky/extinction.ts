/**
 * V extinction by height of the site, as the documentation of the R package moonlit prints it: 0.28 mag per airmass at
 * sea level, 0.24 at 500 m, 0.21 at 1000 m, 0.16 at 2000 m.
 */
const byHeight = [
  { heightM: 0, magPerAirmass: 0.28 },
  { heightM: 500, magPerAirmass: 0.24 },
  { heightM: 1000, magPerAirmass: 0.21 },
  { heightM: 2000, magPerAirmass: 0.16 },
] as const;

/**
 * How much the clear air of a site dims in V: the table above, straight lines between its points. Outside the table its
 * end values hold; a mountain above 2000 m is clearer than that. Real nights differ by 0.05 and more.
 * @param heightM - above sea level
 * @returns magnitudes per airmass
 */
export function extinctionAtHeight(heightM: number): number {
  let low: (typeof byHeight)[number] = byHeight[0];
  for (const high of byHeight) {
    if (heightM <= high.heightM) {
      const part = high === low ? 0 : (heightM - low.heightM) / (high.heightM - low.heightM);
      return low.magPerAirmass + part * (high.magPerAirmass - low.magPerAirmass);
    }
    low = high;
  }
  return low.magPerAirmass;
}

/**
 * The part of the light that comes through: 10^(-0.4 k X).
 * @param airmass - at the target; `airmass - 1` gives the loss against the zenith
 */
export const transmission = (magPerAirmass: number, airmass: number): number => 10 ** (-0.4 * magPerAirmass * airmass);
