import type { Card } from "./cards.js";
import { dialects } from "./dialects.js";
import { type Fact, type Found, factOf, foundIn, type Look, type Origin } from "./facts.js";
import { middleFact, scaled, toUtc } from "./header-times.js";
import {
  fromJulianDate,
  fromModifiedJulianDate,
  isJulianDate,
  isModifiedJulianDate,
  isoUtc,
  parseInstant,
  parseTimeOfDay,
  type ReadInstant,
} from "./instants.js";
import { noteOtherTimes } from "./time-checks.js";

const msPerDay = 86_400_000;

/**
 * When the exposure started, UTC. A date alone is no start time, and a date that does not exist is none either: both
 * leave a note. Local time with an offset is turned into UTC; without one it is not used. Where only the middle or the
 * end of the exposure is given, the exposure is taken off.
 * @param exposureS - NaN when it is not known
 * @returns null, with a note, when the header does not say
 */
export function startFact(look: Look, exposureS: number): { text: Fact<string>; ms: Fact<number> } | null {
  const gaps: string[] = [];
  const unusable: string[] = [];
  const found = fromDate(look, exposureS, gaps, unusable) ?? fromJulian(look, gaps) ?? fromMiddle(look, exposureS);
  if (found === null) {
    const local = look.text(dialects.localTime);
    if (local !== null) gaps.push(`${local.keyword} is local time without a zone`);
    look.note(
      `${[...unusable, ...gaps].join("; ") || "the header names no start of the exposure"}: the start time is not known`,
    );
    return null;
  }
  for (const problem of unusable) look.note(`${problem}: not used`);
  noteOtherTimes(look, found, exposureS);
  const ahead = look.given("clockAheadS");
  if (ahead === null || ahead.value === 0)
    return { text: factOf(isoUtc(found.value), found.from), ms: factOf(found.value, found.from) };
  look.note(`the camera's clock was ${ahead.value} s ahead of UTC: taken off the start time`);
  const ms = found.value - 1000 * ahead.value;
  const from: Origin = { derived: `${nameOf(found.from)} less the clock's error` };
  return { text: factOf(isoUtc(ms), from), ms: factOf(ms, from) };
}

const nameOf = (from: Origin) => ("keyword" in from ? from.keyword : "derived" in from ? from.derived : from.given);

function fromDate(look: Look, exposureS: number, gaps: string[], unusable: string[]): Fact<number> | null {
  for (const card of look.cards(dialects.start)) {
    if (typeof card.value !== "string" || card.value.trim() === "") continue;
    const read = parseInstant(card.value);
    if (read === null) {
      unusable.push(`${card.keyword} '${card.value.trim()}' is no date that exists and can be told`);
      continue;
    }
    if (isLocal(card.comment) && read.offsetMinutes === null) {
      gaps.push(`${card.keyword} is local time without a zone`);
      continue;
    }
    const time = read.secondOfDay === null ? timeOfDay(look, read.dayMs) : null;
    const secondOfDay = read.secondOfDay ?? time?.value;
    if (secondOfDay === undefined) {
      gaps.push(`${card.keyword} is a date without a time of day`);
      continue;
    }
    const ms = toUtc(look, read, secondOfDay);
    if (ms === null) {
      gaps.push(`${card.keyword} is local time without a zone`);
      continue;
    }
    noteOddity(look, card.keyword, read);
    const from: Origin =
      time === null
        ? { keyword: card.keyword, offsetBytes: card.offsetBytes }
        : { derived: `${card.keyword} and ${time.keyword}` };
    const fraction = fractionPassed(card.comment);
    if (fraction === 0) return factOf(ms, from);
    const when = fraction === 1 ? "end" : "middle";
    if (!(exposureS >= 0)) {
      gaps.push(`${card.keyword} is the ${when} of an exposure of unknown length`);
      continue;
    }
    look.note(`${card.keyword} is the ${when} of the exposure by its comment: the exposure before it was taken off`);
    return factOf(ms - 1000 * fraction * exposureS, { derived: `${card.keyword} less the exposure before it` });
  }
  return null;
}

/** How much of the exposure had passed at the time that a card gives, by its comment. */
function fractionPassed(comment: string): number {
  if (/\b(?:start|begin)/i.test(comment)) return 0;
  if (/\bmid(?:dle|point|-?exp(?:osure)?|-?time)?\b/i.test(comment)) return 0.5;
  return /\bend of (?:the )?(?:exp|obs|integ)|\b(?:exposure|observation|integration) end\b/i.test(comment) ? 1 : 0;
}

const isLocal = (comment: string) => /\blocal\b/i.test(comment) && !/\bUTC?\b|\bGMT\b|universal/i.test(comment);

/** Time of day in a card of its own, in seconds; one with a date counts when it is the same day. */
function timeOfDay(look: Look, dayMs: number): Found<number> | null {
  for (const card of look.cards(dialects.timeOfDay)) {
    const seconds = secondsIn(card, dayMs);
    if (seconds !== null && !isLocal(card.comment)) return foundIn(card, seconds);
  }
  return look.number(dialects.secondOfDay, (s) => s >= 0 && s < 86_401);
}

function secondsIn(card: Card, dayMs: number): number | null {
  if (typeof card.value !== "string") return null;
  const alone = parseTimeOfDay(card.value);
  if (alone !== null) return alone;
  const dated = parseInstant(card.value);
  return dated !== null && dated.dayMs === dayMs && !dated.offsetMinutes ? dated.secondOfDay : null;
}

function fromJulian(look: Look, gaps: string[]): Fact<number> | null {
  const mjd = look.number(dialects.startMjd, isModifiedJulianDate);
  // A whole number is a date, as an observing night's number often is.
  if (mjd !== null && Number.isInteger(mjd.value)) gaps.push(`${mjd.keyword} is a day without a time`);
  else if (mjd !== null) return julian(look, fromModifiedJulianDate(mjd.value), mjd.from);
  const jd = look.number(dialects.startJd, isJulianDate);
  return jd === null ? null : julian(look, fromJulianDate(jd.value), jd.from);
}

/** A Julian date in a header has milliseconds at best: 15 digits of a double. */
function julian(look: Look, ms: number, from: Origin): Fact<number> | null {
  const utc = scaled(look, ms);
  return utc === null ? null : factOf(Math.round(utc), from);
}

function fromMiddle(look: Look, exposureS: number): Fact<number> | null {
  const middle = exposureS >= 0 ? middleFact(look) : null;
  if (middle === null) return null;
  look.note(`only the middle of the exposure is given (${middle.keyword}): half of the exposure taken off`);
  return factOf(middle.value - 500 * exposureS, { derived: `${middle.keyword} less half the exposure` });
}

function noteOddity(look: Look, keyword: string, { oddity, dayMs }: ReadInstant): void {
  if (oddity === "two-digit-year")
    look.note(`${keyword} has a year of two digits: taken as ${new Date(dayMs).getUTCFullYear()}`);
  if (oddity === "year-after-1900")
    look.note(`${keyword} counts years from 1900: taken as ${new Date(dayMs + msPerDay / 2).getUTCFullYear()}`);
}
