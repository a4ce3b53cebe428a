import { toRadians } from "../terms/units.js";
import { airmassAt } from "./airmass.js";
import { parallacticAngleDeg, rotationRateDegPerH } from "./field-rotation.js";
import { checkTarget, type Site, type Target } from "./site.js";
import { skyFrame } from "./sky-frame.js";
import { angleBetweenDeg, lengthOf, minus } from "./vector.js";

/** Where target, Sun and Moon stand at an instant. All angles are topocentric and without refraction. */
export interface SkyPlace {
  readonly altitudeDeg: number;
  /** From north through east, 0 to 360. */
  readonly azimuthDeg: number;
  /** Kasten & Young 1989 at the refracted altitude; NaN below the apparent horizon. */
  readonly airmass: number;
  /** West positive, -180 to 180. */
  readonly hourAngleDeg: number;
  /** Position angle of "up", positive west of the meridian, -180 to 180. */
  readonly parallacticAngleDeg: number;
  /** Change of the parallactic angle, signed: the field rotation of an alt-azimuth telescope. */
  readonly rotationRateDegPerH: number;
  readonly sunAltitudeDeg: number;
  readonly sunAzimuthDeg: number;
  readonly moonAltitudeDeg: number;
  readonly moonAzimuthDeg: number;
  /** From target to Moon as seen from the site; parallax moves the Moon by up to a degree. */
  readonly moonSeparationDeg: number;
  /** Lit fraction of the disk, 0 to 1, from the Earth's centre as almanacs print it (`moonPhaseAt` gives the site's). */
  readonly moonIllumination: number;
  /** Angle at the Moon from the Sun to the Earth's centre: 0 is full, 180 new. */
  readonly moonPhaseAngleDeg: number;
  /** From the Earth's centre. */
  readonly moonDistanceKm: number;
}

/** Kilometres in an astronomical unit (IAU 2012). */
const kmPerAu = 149_597_870.7;

/**
 * Places target, Sun and Moon in the sky of a site.
 *
 * Annual aberration, precession, nutation, the parallax of Sun and Moon and their light time are in; diurnal aberration
 * and polar motion (0.3 arcsec each) and UT1 - UTC (at most 0.9 s, 13.5 arcsec of hour angle) are not. With the same UT1,
 * 50 random skies are within 0.6 arcsec of astropy for the target and 2 for the Sun; the Moon is within 1 arcsec of JPL's
 * (tests/reference/sky-astropy.test.ts, sky-vectors.test.ts).
 * @param utcMs - Unix milliseconds, UTC; mid-exposure for a sub
 * @throws CallError when an argument is out of range or not a number
 * @example
 * ```ts
 * import { placeInSky } from "nightyield";
 * const laPalma = { latitudeDeg: 28.7606, longitudeDeg: -17.8816, heightM: 2396 };
 * const m31 = { raDeg: 10.684708, decDeg: 41.26875 };
 * placeInSky(Date.UTC(2021, 10, 5, 21, 30), laPalma, m31).altitudeDeg; // 68.742
 * ```
 */
export function placeInSky(utcMs: number, site: Site, target: Target): SkyPlace {
  checkTarget(target);
  const frame = skyFrame(utcMs, site);
  const direction = frame.apparent(target);
  const [sun, moon] = [frame.sun(), frame.moon()];
  const moonFromSite = minus(moon, frame.site);
  const seen = frame.seen(direction);
  const seenSun = frame.seen(minus(sun, frame.site));
  const seenMoon = frame.seen(moonFromSite);
  const moonPhaseAngleDeg = 180 - angleBetweenDeg(moon, minus(sun, moon));
  return {
    altitudeDeg: seen.altitudeDeg,
    azimuthDeg: seen.azimuthDeg,
    airmass: airmassAt(seen.altitudeDeg),
    hourAngleDeg: seen.hourAngleDeg,
    parallacticAngleDeg: parallacticAngleDeg(seen.hourAngleDeg, seen.decDeg, site.latitudeDeg),
    rotationRateDegPerH: rotationRateDegPerH(seen.altitudeDeg, seen.azimuthDeg, site.latitudeDeg),
    sunAltitudeDeg: seenSun.altitudeDeg,
    sunAzimuthDeg: seenSun.azimuthDeg,
    moonAltitudeDeg: seenMoon.altitudeDeg,
    moonAzimuthDeg: seenMoon.azimuthDeg,
    moonSeparationDeg: angleBetweenDeg(direction, moonFromSite),
    moonIllumination: litFraction(moonPhaseAngleDeg),
    moonPhaseAngleDeg,
    moonDistanceKm: lengthOf(moon) * kmPerAu,
  };
}

/** The Moon's phase as the site itself sees it: up to 0.95 degrees, or 0.008 of the disk, from the almanac's. */
export function moonPhaseAt(utcMs: number, site: Site): { illumination: number; phaseAngleDeg: number } {
  const frame = skyFrame(utcMs, site);
  const [sun, moon] = [frame.sun(), frame.moon()];
  const phaseAngleDeg = 180 - angleBetweenDeg(minus(moon, frame.site), minus(sun, moon));
  return { illumination: litFraction(phaseAngleDeg), phaseAngleDeg };
}

/** The lit fraction of a sphere's disk (Meeus eq. 48.1). */
const litFraction = (phaseAngleDeg: number) => (1 + Math.cos(toRadians(phaseAngleDeg))) / 2;

/** The Sun's altitude alone, topocentric and without refraction. */
export function sunAltitudeDeg(utcMs: number, site: Site): number {
  const frame = skyFrame(utcMs, site);
  return frame.seen(minus(frame.sun(), frame.site)).altitudeDeg;
}
