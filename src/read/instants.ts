/** A calendar date and, where it was given, a time of day. */
export interface ReadInstant {
  /** Unix milliseconds of the day's start, UTC. */
  readonly dayMs: number;
  /** Seconds of the day; null when only the date was given. */
  readonly secondOfDay: number | null;
  /** Minutes that local time is ahead of UTC, where the text gives an offset; 0 for Z; null: not said. */
  readonly offsetMinutes: number | null;
  /** What is unusual about the text. */
  readonly oddity: "" | "two-digit-year" | "year-after-1900";
}

const msPerDay = 86_400_000;

/**
 * Reads a date, with or without a time of day: `YYYY-MM-DD[Thh:mm:ss[.s...]]` (FITS Standard 4.0, section 9.1.1), the
 * older `DD/MM/YY` (19YY), and the common variants: a blank for the T, a Z or an offset, slashes, single digits.
 * @returns null when it is no date, or one that does not exist, or is undecidable (DD/MM/YYYY or MM/DD/YYYY)
 */
export function parseInstant(text: string): ReadInstant | null {
  const plain = text.trim();
  const old = /^(\d{1,2})\/(\d{1,2})\/(\d{2,3})(?:[T\s]+(.*))?$/.exec(plain);
  if (old !== null) {
    const [, day, month, year, rest] = old;
    // Software of the nineties counted on past 99: 102 is 2002.
    return compose(1900 + Number(year), month!, day!, rest, year!.length === 3 ? "year-after-1900" : "two-digit-year");
  }
  const iso = /^(\d{4})[-/](\d{1,2})[-/](\d{1,2})(?:[T\s]+(.*))?$/.exec(plain);
  if (iso === null) return null;
  const [, year, month, day, rest] = iso;
  return compose(Number(year), month!, day!, rest, "");
}

function compose(
  year: number,
  month: string,
  day: string,
  rest: string | undefined,
  oddity: ReadInstant["oddity"],
): ReadInstant | null {
  const dayMs = Date.UTC(year, Number(month) - 1, Number(day));
  const back = new Date(dayMs);
  // Date.UTC takes the years 0 to 99 for 1900 to 1999, and rolls the 30th of February over to March.
  if (back.getUTCFullYear() !== year || back.getUTCMonth() + 1 !== Number(month) || back.getUTCDate() !== Number(day))
    return null;
  if (rest === undefined || rest === "") return { dayMs, secondOfDay: null, offsetMinutes: null, oddity };
  const zone = /\s*(?:(Z|UTC?)|([+-])(\d{2}):?(\d{2}))$/i.exec(rest);
  const secondOfDay = parseTimeOfDay(zone === null ? rest : rest.slice(0, zone.index));
  if (secondOfDay === null) return null;
  if (zone?.[3] !== undefined && (Number(zone[3]) > 14 || Number(zone[4]) > 59)) return null;
  const offset =
    zone === null
      ? null
      : zone[1] !== undefined
        ? 0
        : (zone[2] === "-" ? -1 : 1) * (Number(zone[3]) * 60 + Number(zone[4]));
  return { dayMs, secondOfDay, offsetMinutes: offset, oddity };
}

/**
 * Reads `hh:mm:ss[.s...]` (or blanks for colons) as seconds of the day.
 * @returns null when it is no time of day; minutes without seconds are none. 60 s is taken only in a leap second's place
 */
export function parseTimeOfDay(text: string): number | null {
  const parts = /^\s*(\d{1,2})[:\s](\d{1,2})[:\s](\d{1,2}(?:\.\d*)?)\s*$/.exec(text);
  if (parts === null) return null;
  const [hours, minutes, seconds] = parts.slice(1).map(Number) as [number, number, number];
  const leap = hours === 23 && minutes === 59 && seconds >= 60 && seconds < 61;
  if (hours > 23 || minutes > 59 || (seconds >= 60 && !leap)) return null;
  return hours * 3600 + minutes * 60 + seconds;
}

/** TAI - UTC in seconds from each day on, since 1999 (FITS Standard 4.0, Table 30; IERS Bulletin C). */
const leapSeconds = [
  [Date.UTC(1999, 0, 1), 32],
  [Date.UTC(2006, 0, 1), 33],
  [Date.UTC(2009, 0, 1), 34],
  [Date.UTC(2012, 6, 1), 35],
  [Date.UTC(2015, 6, 1), 36],
  [Date.UTC(2017, 0, 1), 37],
] as const;

/**
 * Seconds to take off a time scale to get UTC; TT = TAI + 32.184 s.
 * @returns null for a scale that is not known here, or a date before 1999
 */
export function secondsAheadOfUtc(scale: string, ms: number): number | null {
  const name = scale.trim().toUpperCase();
  if (["", "UTC", "UT", "UT1", "GMT", "LOCAL"].includes(name)) return name === "LOCAL" ? null : 0;
  const tai = leapSeconds.findLast(([from]) => ms >= from)?.[1];
  if (tai === undefined) return null;
  if (["TAI", "IAT"].includes(name)) return tai;
  if (["TT", "TDT", "ET", "TDB"].includes(name)) return tai + 32.184;
  return name === "GPS" ? tai - 19 : null;
}

/** Whether a number can be a Julian date of a photograph (1899 to 2406), or a modified one; others are something else. */
export const isJulianDate = (n: number): boolean => n > 2_415_000 && n < 2_600_000;
export const isModifiedJulianDate = (n: number): boolean => n > 15_000 && n < 200_000;
/** Unix milliseconds of a Julian or modified Julian date. */
export const fromJulianDate = (jd: number): number => (jd - 2440587.5) * msPerDay;
export const fromModifiedJulianDate = (mjd: number): number => (mjd - 40587) * msPerDay;

/**
 * An instant as ISO text with as many decimals as it has, at least three, at most six.
 * @param ms - Unix milliseconds, fractions allowed
 */
export function isoUtc(ms: number): string {
  // A double holds today's milliseconds to a quarter of a microsecond.
  const micro = Math.round((ms - Math.floor(ms / 1000) * 1000) * 1000);
  const seconds = new Date(Math.floor(ms / 1000) * 1000 + (micro === 1_000_000 ? 1000 : 0)).toISOString().slice(0, 19);
  const digits = String(micro % 1_000_000).padStart(6, "0");
  return `${seconds}.${digits.endsWith("000") ? digits.slice(0, 3) : digits}Z`;
}
