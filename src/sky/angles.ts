import { toDegrees, toRadians } from "../terms/units.js";
import type { Target } from "./site.js";

/** The same direction from 0 up to, not including, 360 degrees. */
export function wrapDegrees(angleDeg: number): number {
  const rest = angleDeg % 360;
  // Adding 360 to a tiny negative number gives 360 itself.
  const wrapped = rest < 0 ? rest + 360 : rest;
  return wrapped === 360 ? 0 : wrapped + 0;
}

/** The same direction from -180 up to, not including, 180 degrees. */
export const wrapSignedDegrees = (angleDeg: number): number => wrapDegrees(angleDeg + 180) - 180;

/**
 * The angle between two directions on the sphere, 0 to 180 degrees, exact also for very small and nearly opposite
 * ones (arc tangent of cross by dot product, as in the SOFA function iauSeps).
 */
export function separationDeg(a: Target, b: Target): number {
  const [decA, decB] = [toRadians(a.decDeg), toRadians(b.decDeg)];
  const dRa = toRadians(b.raDeg - a.raDeg);
  const x = Math.cos(decA) * Math.sin(decB) - Math.sin(decA) * Math.cos(decB) * Math.cos(dRa);
  const y = Math.cos(decB) * Math.sin(dRa);
  const dot = Math.sin(decA) * Math.sin(decB) + Math.cos(decA) * Math.cos(decB) * Math.cos(dRa);
  return toDegrees(Math.atan2(Math.hypot(x, y), dot));
}
