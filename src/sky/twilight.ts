import { type AstroTime, Body, MakeTime, Observer, SearchAltitude, SearchHourAngle } from "astronomy-engine";
import { sunAltitudeDeg } from "./place-in-sky.js";
import { checkInstant, checkSite, type Site } from "./site.js";

/** An instant at which the Sun passed an altitude, or why it did not. */
export type SunEvent =
  | { readonly utcMs: number }
  | { readonly utcMs: null; readonly because: "sun-stays-above" | "sun-stays-below" };

/** A night from noon to noon. Unix milliseconds, UTC. */
export interface SunEvents {
  /** The Sun's upper transit before the night. */
  readonly noonMs: number;
  readonly sunset: SunEvent;
  readonly civilDusk: SunEvent;
  readonly nauticalDusk: SunEvent;
  readonly astronomicalDusk: SunEvent;
  /** The Sun's lower transit. */
  readonly midnightMs: number;
  readonly astronomicalDawn: SunEvent;
  readonly nauticalDawn: SunEvent;
  readonly civilDawn: SunEvent;
  readonly sunrise: SunEvent;
  readonly nextNoonMs: number;
}

/**
 * Altitudes of the Sun's centre without refraction that define the events (U.S. Naval Observatory, "Rise, Set, and
 * Twilight Definitions"): rise and set are 34' of refraction and 16' of semidiameter below a level horizon.
 */
export const sunEventAltitudesDeg = { riseSet: -50 / 60, civil: -6, nautical: -12, astronomical: -18 } as const;

/**
 * The Sun's events of the night around an instant: between the noon before it and the noon after it, by the Sun.
 * Right to 2 seconds against astropy; real sunrise and sunset differ by a minute and more with the air and the skyline.
 * @throws CallError when an argument is out of range or not a number
 * @example
 * ```ts
 * import { sunEvents } from "nightyield";
 * console.log(sunEvents(Date.parse("2025-10-18T20:00:00Z"), { latitudeDeg: 48, longitudeDeg: 16, heightM: 200 }));
 * ```
 */
export function sunEvents(utcMs: number, site: Site): SunEvents {
  const { noon, midnight, nextNoon, observer } = nightAround(utcMs, site);
  const event = (direction: 1 | -1, altitudeDeg: number): SunEvent => {
    const [from, to] = direction === -1 ? [noon, midnight] : [midnight, nextNoon];
    const found = SearchAltitude(Body.Sun, observer, direction, from, to.ut - from.ut, altitudeDeg);
    if (found !== null) return { utcMs: millisecondsOf(found) };
    const brightestMs = millisecondsOf(direction === -1 ? from : to);
    const because = sunAltitudeDeg(brightestMs, site) < altitudeDeg ? "sun-stays-below" : "sun-stays-above";
    return { utcMs: null, because };
  };
  const { riseSet, civil, nautical, astronomical } = sunEventAltitudesDeg;
  return {
    noonMs: millisecondsOf(noon),
    sunset: event(-1, riseSet),
    civilDusk: event(-1, civil),
    nauticalDusk: event(-1, nautical),
    astronomicalDusk: event(-1, astronomical),
    midnightMs: millisecondsOf(midnight),
    astronomicalDawn: event(1, astronomical),
    nauticalDawn: event(1, nautical),
    civilDawn: event(1, civil),
    sunrise: event(1, riseSet),
    nextNoonMs: millisecondsOf(nextNoon),
  };
}

/** Noon, midnight and noon by the Sun around an instant. */
export function nightAround(utcMs: number, site: Site) {
  checkInstant(utcMs);
  checkSite(site);
  // At the poles themselves there is no hour angle; a hundred metres away there is.
  const latitudeDeg = Math.max(-89.999, Math.min(89.999, site.latitudeDeg));
  const observer = new Observer(latitudeDeg, site.longitudeDeg, 0);
  const noon = SearchHourAngle(Body.Sun, observer, 0, MakeTime(new Date(utcMs)), -1).time;
  const midnight = SearchHourAngle(Body.Sun, observer, 12, noon, 1).time;
  const nextNoon = SearchHourAngle(Body.Sun, observer, 0, midnight, 1).time;
  return { noon, midnight, nextNoon, observer };
}

export const millisecondsOf = (time: AstroTime): number => time.date.getTime();
