import { CallError } from "../terms/errors.js";

/** Where the telescope stands. */
export interface Site {
  /** Geodetic latitude, north positive, -90 to 90. */
  readonly latitudeDeg: number;
  /** Longitude, east positive, -180 to 360. */
  readonly longitudeDeg: number;
  /** Height above the ellipsoid (above sea level is near enough). */
  readonly heightM: number;
}

/** Where a target stands among the stars: ICRS, which is J2000 to 0.02 arcsec. */
export interface Target {
  /** Right ascension, 0 to 360. */
  readonly raDeg: number;
  /** Declination, -90 to 90. */
  readonly decDeg: number;
}

/** @throws CallError when the site is not on Earth */
export function checkSite(site: Site): void {
  within("latitudeDeg", site.latitudeDeg, -90, 90, "north is positive");
  within("longitudeDeg", site.longitudeDeg, -180, 360, "east is positive");
  within("heightM", site.heightM, -500, 9000, "metres above sea level");
}

/** @throws CallError when the target is not in the sky */
export function checkTarget(target: Target): void {
  within("raDeg", target.raDeg, 0, 360, "degrees; multiply hours by 15");
  within("decDeg", target.decDeg, -90, 90, "degrees");
}

/** @throws CallError when the instant is not a number of milliseconds that a date can hold */
export function checkInstant(utcMs: number): void {
  within("utcMs", utcMs, -8.64e15, 8.64e15, "Unix milliseconds, UTC");
}

function within(name: string, value: number, low: number, high: number, hint: string): void {
  if (!(value >= low && value <= high))
    throw new CallError(`Cannot compute the sky: ${name} is ${value}. Give ${low} to ${high} (${hint})`);
}
