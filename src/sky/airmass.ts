import { toRadians } from "../terms/units.js";
import { refractionOfTrueDeg } from "./refraction.js";

/**
 * Airmass at an altitude without refraction: Kasten & Young 1989 at the apparent altitude, which is what their formula
 * takes. This is the `airmass` of the frame table.
 * @param altitudeDeg - topocentric, without refraction
 * @returns 1 at the zenith, about 38 at the horizon; NaN for what is below the apparent horizon (true altitude below
 * about -0.57 degrees): there is no light path to have an airmass
 */
export function airmassAt(altitudeDeg: number): number {
  // Saemundsson's form is off by -0.002 arcmin at the zenith and would carry the altitude past it.
  return kastenYoungAirmass(Math.min(90, altitudeDeg + refractionOfTrueDeg(altitudeDeg)));
}

/**
 * Kasten & Young 1989, Applied Optics 28, 4735: 1 / [sin h + 0.50572 (h + 6.07995)^-1.6364].
 * @param apparentAltitudeDeg - as seen, with refraction, 0 to 90
 * @returns NaN below the horizon
 */
export function kastenYoungAirmass(apparentAltitudeDeg: number): number {
  if (!(apparentAltitudeDeg >= 0)) return Number.NaN;
  return 1 / (Math.sin(toRadians(apparentAltitudeDeg)) + 0.50572 * (apparentAltitudeDeg + 6.07995) ** -1.6364);
}

/**
 * Young 1994, Applied Optics 33, 1108: from the true altitude, so it needs no refraction and checks the other route.
 * @param altitudeDeg - without refraction, 0 to 90
 * @returns NaN below the horizon
 */
export function youngAirmass(altitudeDeg: number): number {
  if (!(altitudeDeg >= 0)) return Number.NaN;
  const c = Math.sin(toRadians(altitudeDeg));
  return (1.002432 * c ** 2 + 0.148386 * c + 0.0096467) / (c ** 3 + 0.149864 * c ** 2 + 0.0102963 * c + 0.000303978);
}

/**
 * Pickering 2002, DIO 12: 1 / sin(h + 244 / (165 + 47 h^1.1)).
 * @param apparentAltitudeDeg - as seen, 0 to 90
 * @returns NaN below the horizon
 */
export function pickeringAirmass(apparentAltitudeDeg: number): number {
  if (!(apparentAltitudeDeg >= 0)) return Number.NaN;
  return 1 / Math.sin(toRadians(apparentAltitudeDeg + 244 / (165 + 47 * apparentAltitudeDeg ** 1.1)));
}

/**
 * The path through the layer that scatters and glows, (1 - 0.96 sin^2 z)^-1/2: Krisciunas & Schaefer 1991, eq. 3. It
 * belongs to sky brightness only; 5 at the horizon.
 * @param altitudeDeg - 0 to 90
 * @returns NaN below the horizon
 */
export function scatteringAirmass(altitudeDeg: number): number {
  if (!(altitudeDeg >= 0)) return Number.NaN;
  return 1 / Math.sqrt(1 - 0.96 * Math.cos(toRadians(altitudeDeg)) ** 2);
}
