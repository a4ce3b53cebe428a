import { dialects } from "./dialects.js";
import { type Found, foundIn, type Look } from "./facts.js";
import {
  fromJulianDate,
  fromModifiedJulianDate,
  isJulianDate,
  isModifiedJulianDate,
  parseInstant,
  type ReadInstant,
  secondsAheadOfUtc,
} from "./instants.js";

/** Null: the header says that its times are local, and no zone is given. */
export function toUtc(look: Look, read: ReadInstant, secondOfDay: number): number | null {
  const ms = read.dayMs + 1000 * secondOfDay;
  if (read.offsetMinutes === null) return scaled(look, ms);
  if (read.offsetMinutes !== 0) look.note("the start time is local time with an offset, turned into UTC");
  return ms - read.offsetMinutes * 60_000;
}

/** From the header's time scale to UTC; null for local time. */
export function scaled(look: Look, ms: number): number | null {
  const scale = look.text(["TIMESYS"])?.value ?? "";
  if (/^local/i.test(scale)) return null;
  const ahead = secondsAheadOfUtc(scale, ms);
  if (ahead === null) look.note(`the time scale ${scale} is not known here for that date: taken as UTC`);
  else if (ahead !== 0) look.note(`times are in ${scale}, ${ahead} s ahead of UTC`);
  return ms - 1000 * (ahead ?? 0);
}

/** The middle of the exposure as Unix milliseconds, where a card gives it. */
export function middleFact(look: Look): Found<number> | null {
  for (const card of look.cards(dialects.middle)) {
    const read = typeof card.value === "string" ? parseInstant(card.value) : null;
    if (read === null || read.secondOfDay === null) continue;
    const ms = toUtc(look, read, read.secondOfDay);
    if (ms !== null) return foundIn(card, ms);
  }
  // MIDTIMJD holds a Julian date in spite of its name.
  const middle = look.number(
    dialects.middleJulian,
    (n) => (isModifiedJulianDate(n) || isJulianDate(n)) && !Number.isInteger(n),
  );
  if (middle === null) return null;
  const ms = scaled(
    look,
    isJulianDate(middle.value) ? fromJulianDate(middle.value) : fromModifiedJulianDate(middle.value),
  );
  return ms === null ? null : { ...middle, value: Math.round(ms) };
}
