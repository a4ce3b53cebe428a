import { toDegrees, toRadians } from "../terms/units.js";
import type { Target } from "./site.js";

/** x towards RA 0, y towards RA 90, z towards the north pole. */
export type Vector = readonly [number, number, number];

export const plus = (a: Vector, b: Vector): Vector => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const minus = (a: Vector, b: Vector): Vector => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const lengthOf = (a: Vector): number => Math.hypot(a[0], a[1], a[2]);

/** The vector of length 1 towards a direction. */
export function unitVector({ raDeg, decDeg }: Target): Vector {
  const [ra, dec] = [toRadians(raDeg), toRadians(decDeg)];
  return [Math.cos(dec) * Math.cos(ra), Math.cos(dec) * Math.sin(ra), Math.sin(dec)];
}

/** The angle between two vectors of any length, 0 to 180, by the arc tangent (exact for small angles too). */
export function angleBetweenDeg(a: Vector, b: Vector): number {
  const cross: Vector = [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  return toDegrees(Math.atan2(lengthOf(cross), a[0] * b[0] + a[1] * b[1] + a[2] * b[2]));
}
