import { toRadians } from "../terms/units.js";

/**
 * How much the air lifts what stands at a true altitude (Saemundsson 1986, as in Meeus, Astronomical Algorithms, eq.
 * 16.4): 1010 hPa, 10 degrees C, yellow light. Good to 0.07 arcmin above 5 degrees; nearer the horizon real air differs
 * by minutes.
 * @param altitudeDeg - without refraction, -1 to 90
 * @returns degrees to add; NaN below -1 degree, where nothing is seen
 */
export function refractionOfTrueDeg(altitudeDeg: number): number {
  if (!(altitudeDeg >= -1)) return Number.NaN;
  return 1.02 / Math.tan(toRadians(altitudeDeg + 10.3 / (altitudeDeg + 5.11))) / 60;
}

/**
 * How much the air has lifted what is seen at an apparent altitude (Bennett 1982, as in Meeus eq. 16.3); same air.
 * @param apparentAltitudeDeg - as seen, 0 to 90
 * @returns degrees to take off; NaN below the horizon
 */
export function refractionOfApparentDeg(apparentAltitudeDeg: number): number {
  if (!(apparentAltitudeDeg >= 0)) return Number.NaN;
  return 1 / Math.tan(toRadians(apparentAltitudeDeg + 7.31 / (apparentAltitudeDeg + 4.4))) / 60;
}
