import { dialects } from "./dialects.js";
import { type Fact, type Found, factOf, type Look, type Origin } from "./facts.js";
import {
  fromJulianDate,
  fromModifiedJulianDate,
  isoUtc,
  parseInstant,
  parseTimeOfDay,
  type ReadInstant,
  secondsAheadOfUtc,
} from "./instants.js";

const msPerDay = 86_400_000;

/**
 * When the exposure started, UTC. A date alone is no start time, and a date that does not exist is none either: both
 * leave a note. Local time with an offset is turned into UTC; without one it is not used.
 * @param exposureS - to get from the middle of the exposure to its start
 */
export function startFact(look: Look, exposureS: number): { text: Fact<string>; ms: Fact<number> } | null {
  const found = fromDate(look) ?? fromJulian(look) ?? fromMiddle(look, exposureS);
  if (found === null) {
    const local = look.text(dialects.localTime);
    if (local !== null) look.note(`${local.keyword} is local time without a zone: the start time is not known`);
    return null;
  }
  const ahead = look.given("clockAheadS");
  const ms = found.value - 1000 * (ahead?.value ?? 0);
  return { text: factOf(isoUtc(ms), found.from), ms: factOf(ms, found.from) };
}

function fromDate(look: Look): Fact<number> | null {
  for (const card of look.cards(dialects.start)) {
    if (typeof card.value !== "string" || card.value.trim() === "") continue;
    const read = parseInstant(card.value);
    if (read === null) {
      look.note(`${card.keyword} '${card.value.trim()}' is no date that exists and can be told: not used`);
      continue;
    }
    noteOddity(look, card.keyword, read);
    const from: Origin = { keyword: card.keyword, offsetBytes: card.offsetBytes };
    if (isMiddle(card.comment))
      look.note(`${card.keyword} is the middle of the exposure by its comment, taken as the start`);
    if (read.secondOfDay !== null) return factOf(toUtc(look, read, read.secondOfDay), from);
    const time = timeOfDay(look);
    if (time !== null) return factOf(toUtc(look, read, time.value), { derived: `${card.keyword} and ${time.keyword}` });
    look.note(`${card.keyword} is a date without a time of day: the start time is not known`);
  }
  return null;
}

/** Time of day in a card of its own, in seconds. */
function timeOfDay(look: Look): Found<number> | null {
  for (const card of look.cards(dialects.timeOfDay)) {
    const seconds = typeof card.value === "string" ? parseTimeOfDay(card.value) : null;
    if (seconds !== null)
      return {
        value: seconds,
        from: { keyword: card.keyword, offsetBytes: card.offsetBytes },
        keyword: card.keyword,
        comment: card.comment,
      };
  }
  return look.number(dialects.secondOfDay, (s) => s >= 0 && s < 86_401);
}

function toUtc(look: Look, read: ReadInstant, secondOfDay: number): number {
  let ms = read.dayMs + 1000 * secondOfDay;
  if (read.offsetMinutes !== null) {
    if (read.offsetMinutes !== 0) look.note("the start time is local time with an offset, turned into UTC");
    return ms - read.offsetMinutes * 60_000;
  }
  const scale = look.text(["TIMESYS"])?.value ?? "";
  const ahead = secondsAheadOfUtc(scale, ms);
  if (ahead === null) look.note(`the time scale ${scale} is not known here: taken as UTC`);
  else if (ahead !== 0) {
    look.note(`times are in ${scale}, ${ahead} s ahead of UTC`);
    ms -= 1000 * ahead;
  }
  return ms;
}

function fromJulian(look: Look): Fact<number> | null {
  const mjd = look.number(dialects.startMjd, (n) => n > 15_000 && n < 200_000);
  // A whole number is a date, as an observing night's number often is.
  if (mjd !== null && !Number.isInteger(mjd.value)) return scaled(look, fromModifiedJulianDate(mjd.value), mjd.from);
  const jd = look.number(dialects.startJd, (n) => n > 2_415_000 && n < 2_600_000);
  if (jd !== null) return scaled(look, fromJulianDate(jd.value), jd.from);
  if (mjd !== null && look.text(dialects.start) === null)
    return scaled(look, fromModifiedJulianDate(mjd.value), mjd.from);
  return null;
}

/** A Julian date in a header has milliseconds at best: 15 digits of a double. */
function scaled(look: Look, ms: number, from: Origin): Fact<number> {
  const scale = look.text(["TIMESYS"])?.value ?? "";
  return factOf(Math.round(ms - 1000 * (secondsAheadOfUtc(scale, ms) ?? 0)), from);
}

function fromMiddle(look: Look, exposureS: number): Fact<number> | null {
  for (const card of look.cards(dialects.middle)) {
    const read = typeof card.value === "string" ? parseInstant(card.value) : null;
    if (read === null || read.secondOfDay === null || !(exposureS >= 0)) continue;
    look.note(`only the middle of the exposure is given (${card.keyword}): half of the exposure taken off`);
    return factOf(toUtc(look, read, read.secondOfDay) - 500 * exposureS, {
      derived: `${card.keyword} less half the exposure`,
    });
  }
  // MIDTIMJD holds a Julian date in spite of its name.
  const middle = look.number(["MIDTIMJD", "JD-MID", "MJD-AVG", "MJD-MID"], (n) => n > 15_000);
  if (middle === null || !(exposureS >= 0)) return null;
  look.note(`only the middle of the exposure is given (${middle.keyword}): half of the exposure taken off`);
  const ms = middle.value > 2_400_000 ? fromJulianDate(middle.value) : fromModifiedJulianDate(middle.value);
  return factOf(Math.round(ms - 500 * exposureS), { derived: `${middle.keyword} less half the exposure` });
}

function noteOddity(look: Look, keyword: string, { oddity, dayMs }: ReadInstant): void {
  if (oddity === "two-digit-year")
    look.note(`${keyword} has a year of two digits: taken as ${new Date(dayMs).getUTCFullYear()}`);
  if (oddity === "year-after-1900")
    look.note(`${keyword} counts years from 1900: taken as ${new Date(dayMs + msPerDay / 2).getUTCFullYear()}`);
}

const isMiddle = (comment: string) =>
  /\bmid(?:dle|point|-?exposure|-?time)?\b/i.test(comment) && !/start/i.test(comment);
