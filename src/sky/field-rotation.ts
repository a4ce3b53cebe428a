import { toDegrees, toRadians } from "../terms/units.js";

/** How fast the sky turns: degrees per hour of civil time. */
export const siderealRateDegPerH = 15.041067;

/**
 * The angle at the target from the north pole to the zenith, positive when the target is west of the meridian
 * (Meeus eq. 14.1; the SOFA function iauHd2pa): the position angle of "up".
 * @param hourAngleDeg - west positive
 * @returns -180 to 180; 0 at the zenith itself, where it has no meaning
 */
export function parallacticAngleDeg(hourAngleDeg: number, decDeg: number, latitudeDeg: number): number {
  const [h, dec, lat] = [toRadians(hourAngleDeg), toRadians(decDeg), toRadians(latitudeDeg)];
  const sinPart = Math.cos(lat) * Math.sin(h);
  const cosPart = Math.sin(lat) * Math.cos(dec) - Math.cos(lat) * Math.sin(dec) * Math.cos(h);
  return toDegrees(Math.atan2(sinPart, cosPart));
}

/**
 * How fast the parallactic angle changes, which is how fast the field turns in an alt-azimuth telescope:
 * -15.041 cos(latitude) cos(azimuth) / cos(altitude), the derivative of the above.
 * @param azimuthDeg - from north through east
 * @returns degrees per hour, signed: negative on the north side of the sky, positive on the south side, without
 * bound towards the zenith
 */
export function rotationRateDegPerH(altitudeDeg: number, azimuthDeg: number, latitudeDeg: number): number {
  const cosines = Math.cos(toRadians(latitudeDeg)) * Math.cos(toRadians(azimuthDeg));
  return (-siderealRateDegPerH * cosines) / Math.cos(toRadians(altitudeDeg));
}

/**
 * The arc by which rotation about the frame's centre smears a star in the corner during one exposure: half the diagonal
 * times the angle turned, with the rate held at its value at mid-exposure.
 * @param rateDegPerH - of either sign
 * @param width - px
 * @param height - px
 */
export function cornerBlurPx(rateDegPerH: number, exposureS: number, width: number, height: number): number {
  return (Math.hypot(width, height) / 2) * toRadians((Math.abs(rateDegPerH) * exposureS) / 3600);
}
