import { toDegrees, toRadians } from "../terms/units.js";
import { wrapDegrees } from "./angles.js";

/** A direction seen from the ground. */
export interface Horizontal {
  /** Above the horizon, -90 to 90. */
  readonly altitudeDeg: number;
  /** From north through east, 0 to 360. */
  readonly azimuthDeg: number;
}

/**
 * Altitude and azimuth from hour angle and declination: a rotation about the east-west axis, without refraction.
 * @param hourAngleDeg - west positive
 * @param decDeg - of date, for a result that is to be compared with the sky
 * @param latitudeDeg - geodetic
 */
export function horizontalOf(hourAngleDeg: number, decDeg: number, latitudeDeg: number): Horizontal {
  const [h, dec, lat] = [toRadians(hourAngleDeg), toRadians(decDeg), toRadians(latitudeDeg)];
  const north = Math.sin(dec) * Math.cos(lat) - Math.cos(h) * Math.cos(dec) * Math.sin(lat);
  const east = -Math.sin(h) * Math.cos(dec);
  const up = Math.cos(h) * Math.cos(dec) * Math.cos(lat) + Math.sin(dec) * Math.sin(lat);
  return {
    altitudeDeg: toDegrees(Math.atan2(up, Math.hypot(north, east))),
    azimuthDeg: wrapDegrees(toDegrees(Math.atan2(east, north))),
  };
}
