import { dialects } from "./dialects.js";
import type { Fact, Look } from "./facts.js";
import { middleFact, scaled, toUtc } from "./header-times.js";
import {
  fromJulianDate,
  fromModifiedJulianDate,
  isJulianDate,
  isModifiedJulianDate,
  isoUtc,
  parseInstant,
  parseTimeOfDay,
} from "./instants.js";

/** Clocks and rounding may differ by this much without a word. */
const toleranceS = 2;

/**
 * Notes other cards that put the exposure at another time than the start that was taken. Whether they mean its start,
 * middle or end is often not said, so anything within the exposure agrees.
 */
export function noteOtherTimes(look: Look, start: Fact<number>, exposureS: number): void {
  const lengthS = Number.isNaN(exposureS) ? 0 : exposureS;
  const compare = (keyword: string, ms: number | null) => {
    if (ms === null) return;
    const laterS = (ms - start.value) / 1000;
    if (laterS < -toleranceS || laterS > lengthS + toleranceS)
      look.note(`${keyword} says ${isoUtc(ms)}, ${span(laterS)} than the start that was taken`);
  };
  for (const card of look.cards(dialects.start)) {
    const read = typeof card.value === "string" ? parseInstant(card.value) : null;
    if (read !== null && read.secondOfDay !== null) compare(card.keyword, toUtc(look, read, read.secondOfDay));
  }
  // Five decimals of a day, as many headers have, are good to a second.
  for (const mjd of look.numbers(dialects.startMjd, (n) => isModifiedJulianDate(n) && !Number.isInteger(n)))
    compare(mjd.keyword, scaled(look, fromModifiedJulianDate(mjd.value)));
  for (const jd of look.numbers(dialects.startJd, isJulianDate))
    compare(jd.keyword, scaled(look, fromJulianDate(jd.value)));
  const middle = middleFact(look);
  if (middle !== null) compare(middle.keyword, middle.value);
  noteTimesOfDay(look, compare, start.value);
}

/** Times without a date: compared with the day on which they come closest. */
function noteTimesOfDay(look: Look, compare: (keyword: string, ms: number) => void, startMs: number): void {
  const dayMs = 86_400_000;
  for (const card of look.cards(dialects.timeOfDay)) {
    // UT and TIME alone may be when the header was written; with "start" in the comment they are meant.
    if (/^(?:UT|UTC|TIME)$/.test(card.keyword) && !/start|begin/i.test(card.comment)) continue;
    const seconds = typeof card.value === "string" ? parseTimeOfDay(card.value) : null;
    if (seconds === null) continue;
    const ms = scaled(look, Math.floor(startMs / dayMs) * dayMs + 1000 * seconds);
    if (ms !== null) compare(card.keyword, ms - dayMs * Math.round((ms - startMs) / dayMs));
  }
}

function span(seconds: number): string {
  const size = Math.abs(seconds);
  const text =
    size < 120
      ? `${size.toFixed(0)} s`
      : size < 7200
        ? `${(size / 60).toFixed(0)} min`
        : `${(size / 3600).toFixed(1)} h`;
  return `${text} ${seconds < 0 ? "earlier" : "later"}`;
}
