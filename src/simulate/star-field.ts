import { randomStream } from "../numbers/random.js";
import { steadyCosDeg, steadyExp, steadyLog, steadyPow10, steadySinDeg } from "../numbers/steady-math.js";
import type { TargetTerms } from "./scenario-shape.js";

/** A star in the plane of the sky around a target. */
export interface SkyStar {
  /** East of the target, arcsec. */
  readonly eastArcsec: number;
  /** North of the target, arcsec. */
  readonly northArcsec: number;
  readonly mag: number;
  /** Light in red, green and blue, relative to V. */
  readonly colour: readonly [number, number, number];
}

/** Edge of the squares in which stars are drawn; a square's stars do not depend on what else is drawn. */
const cellArcsec = 600;
const [brightestMag, faintestMag] = [5, 18.5];

/**
 * Stars brighter than V 12 a square degree: 45 at the galactic pole, 250 in the plane. A plausible field is all that is
 * wanted; the two ends are rounded from star-count tables and from memory, the course between them is our own.
 */
export function starsPerDeg2(target: TargetTerms): number {
  if (target.starsPerDeg2AtMag12 !== null) return target.starsPerDeg2AtMag12;
  // Galactic latitude from the north galactic pole of J2000 (192.859, 27.128).
  const sinB =
    steadySinDeg(target.decDeg) * steadySinDeg(27.128) +
    steadyCosDeg(target.decDeg) * steadyCosDeg(27.128) * steadyCosDeg(target.raDeg - 192.859);
  return 45 + 205 * steadyExp(-Math.abs(sinB) / 0.25);
}

/**
 * The stars within a distance of a target (and some beyond, to whole squares). Counts follow a power law:
 * N(brighter than m) = N(12) x 10^(slope (m - 12)).
 */
export function starField(seed: number, name: string, target: TargetTerms, radiusArcsec: number): SkyStar[] {
  const stars: SkyStar[] = [];
  const cells = Math.ceil(radiusArcsec / cellArcsec);
  const slope = Math.max(target.starSlope, 1e-3);
  const perDeg2 = starsPerDeg2(target) * steadyPow10(target.starSlope * (faintestMag - 12));
  const perCell = (perDeg2 * cellArcsec * cellArcsec) / 12_960_000;
  for (let j = -cells; j < cells; j++)
    for (let i = -cells; i < cells; i++) {
      const random = randomStream(seed, "stars", name, i, j);
      for (let n = random.poisson(perCell); n > 0; n--) {
        const eastArcsec = (i + random.uniform()) * cellArcsec;
        const northArcsec = (j + random.uniform()) * cellArcsec;
        const mag = Math.max(brightestMag, faintestMag + (steadyLog(random.uniform()) * Math.LOG10E) / slope);
        // Blue to red, most of them a little yellow: a colour index of 0.7 with a spread of 0.4 mag.
        const index = Math.max(-0.3, Math.min(2, 0.7 + 0.4 * random.normal()));
        stars.push({
          eastArcsec,
          northArcsec,
          mag,
          colour: [steadyPow10(0.4 * 0.6 * (index - 0.5)), 1, steadyPow10(-0.4 * 0.9 * (index - 0.5))],
        });
      }
    }
  return stars;
}
