import { Body, SearchRiseSet } from "astronomy-engine";
import type { Site } from "./site.js";
import { millisecondsOf, nightAround } from "./twilight.js";

/** An instant at which the Moon rose or set, or null when it did not between the two noons. */
export type MoonEvent =
  | { readonly utcMs: number }
  | { readonly utcMs: null; readonly because: "not-between-these-noons" };

/**
 * Moonrise and moonset of the night around an instant, between the Sun's noon before it and the noon after it: upper limb
 * on a level horizon, 34' of refraction.
 * @throws CallError when an argument is out of range or not a number
 */
export function moonEvents(utcMs: number, site: Site): { moonrise: MoonEvent; moonset: MoonEvent } {
  const { noon, nextNoon, observer } = nightAround(utcMs, site);
  const event = (direction: 1 | -1): MoonEvent => {
    const found = SearchRiseSet(Body.Moon, observer, direction, noon, nextNoon.ut - noon.ut);
    return found === null ? { utcMs: null, because: "not-between-these-noons" } : { utcMs: millisecondsOf(found) };
  };
  return { moonrise: event(1), moonset: event(-1) };
}
