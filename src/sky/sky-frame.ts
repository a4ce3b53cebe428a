import {
  type AstroTime,
  Body,
  GeoMoon,
  GeoVector,
  HelioState,
  MakeTime,
  Observer,
  ObserverVector,
  Rotation_EQJ_EQD,
  SiderealTime,
} from "astronomy-engine";
import { toDegrees } from "../terms/units.js";
import { wrapSignedDegrees } from "./angles.js";
import { type Horizontal, horizontalOf } from "./horizontal.js";
import { checkInstant, checkSite, type Site, type Target } from "./site.js";
import { plus, unitVector, type Vector } from "./vector.js";

/** A direction in the sky of a site, in the equator of date and in the horizon. */
export interface Seen extends Horizontal {
  /** West positive, -180 to 180. */
  readonly hourAngleDeg: number;
  /** Declination of date. */
  readonly decDeg: number;
}

/** One instant at one site. Vectors are J2000, in AU, from the Earth's centre. */
export interface SkyFrame {
  readonly site: Vector;
  /** Where a vector that starts at the site (or lies at infinity) is seen. */
  seen(direction: Vector): Seen;
  /** The Sun with light time and aberration. */
  sun(): Vector;
  /** The Moon; the library's series has the 0.7 arcsec of light time in it (it trails ERFA's, which has not, by 0.5). */
  moon(): Vector;
  /** A target at infinity, with annual aberration. */
  apparent(target: Target): Vector;
}

/** Speed of light in AU a day (from IAU 2012 astronomical unit and the SI metre). */
const lightAuPerDay = 173.144_632_684_669_3;

/** TT - UTC since the last leap second so far, in days: 32.184 s and 37 leap seconds. */
const terrestrialOffsetDays = (32.184 + 37) / 86_400;
const lastLeapSecondMs = Date.UTC(2017, 0, 1);

/**
 * The frame in which an instant's directions become altitudes and azimuths: precession, nutation and sidereal time of
 * astronomy-engine, UT1 taken as UTC.
 * @throws CallError when instant or site is out of range or not a number
 */
export function skyFrame(utcMs: number, site: Site): SkyFrame {
  checkInstant(utcMs);
  checkSite(site);
  const time = instant(utcMs);
  const siderealDeg = SiderealTime(time) * 15 + site.longitudeDeg;
  const ofDate = Rotation_EQJ_EQD(time).rot;
  const from = ObserverVector(time, new Observer(site.latitudeDeg, site.longitudeDeg, site.heightM), false);
  return {
    site: components(from),
    seen: (direction) => {
      // The library keeps the matrix by columns: rot[i][j] takes component i to component j.
      const [x, y, z] = [0, 1, 2].map((j) =>
        direction.reduce((sum, component, i) => sum + component * ofDate[i]![j]!, 0),
      ) as [number, number, number];
      const hourAngleDeg = wrapSignedDegrees(siderealDeg - toDegrees(Math.atan2(y, x)));
      const decDeg = toDegrees(Math.atan2(z, Math.hypot(x, y)));
      return { hourAngleDeg, decDeg, ...horizontalOf(hourAngleDeg, decDeg, site.latitudeDeg) };
    },
    sun: () => components(GeoVector(Body.Sun, time, true)),
    moon: () => components(GeoMoon(time)),
    apparent: (target) => {
      // To first order in v/c; the second order is a thousandth of an arcsecond.
      const { vx, vy, vz } = HelioState(Body.Earth, time);
      return plus(unitVector(target), [vx / lightAuPerDay, vy / lightAuPerDay, vz / lightAuPerDay]);
    },
  };
}

/**
 * UT1 is taken as UTC. The library extrapolates TT from a parabola of 2005 that is 3 s ahead in 2021 and 8 s in 2030, or 4
 * arcsec of Moon; from 2017 on TT is known, as long as there is no further leap second. Before, the parabola is good to 2 s.
 */
function instant(utcMs: number): AstroTime {
  const time = MakeTime(new Date(utcMs));
  if (utcMs >= lastLeapSecondMs) time.tt = time.ut + terrestrialOffsetDays;
  return time;
}

const components = ({ x, y, z }: { x: number; y: number; z: number }): Vector => [x, y, z];
