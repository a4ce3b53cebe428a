import { parseAngle, withinHalfTurn } from "./angles.js";
import { dialects } from "./dialects.js";
import type { ExposureFacts } from "./exposure-facts.js";
import { type Found, factOf, foundIn, type Look, type Origin } from "./facts.js";

/** What is known of the exposure besides the site; NaN: not known. */
interface When {
  /** Start of the exposure, Unix milliseconds. */
  readonly startMs: number;
  readonly raDeg: number;
}

/**
 * Where the telescope stood. Longitudes are east positive by today's convention, but some headers count west positive
 * and only the sky can tell: local sidereal time, or hour angle with right ascension, decides where the header has it.
 */
export function siteFact(look: Look, when: When): ExposureFacts["site"] {
  const latitude = look.given("latitudeDeg");
  const longitude = look.given("longitudeDeg");
  const read = fromHeader(look, when);
  const written = look.number(dialects.height, (m) => m > -500 && m < 9000);
  if (latitude === null || longitude === null) {
    const heightM = look.prefer("heightM", written, "height of the site")?.value ?? 0;
    return read && factOf({ latitudeDeg: read.latitudeDeg, longitudeDeg: read.longitudeDeg, heightM }, read.from);
  }
  const elsewhere =
    read !== null &&
    Math.hypot(read.latitudeDeg - latitude.value, withinHalfTurn(read.longitudeDeg - longitude.value)) > 0.1;
  if (elsewhere) look.note("the site given is not the one in the header: the given one was taken");
  // The height of another place says nothing.
  const heightM = look.prefer("heightM", elsewhere ? null : written, "height of the site")?.value ?? 0;
  return factOf({ latitudeDeg: latitude.value, longitudeDeg: longitude.value, heightM }, latitude.from);
}

function fromHeader(look: Look, when: When): { latitudeDeg: number; longitudeDeg: number; from: Origin } | null {
  const [latitude] = anglesOf(look, dialects.latitude, 90);
  const [longitude, ...others] = anglesOf(look, dialects.longitude, 360);
  if (latitude === undefined || longitude === undefined) return null;
  // A camera that was told nothing writes zeros, a spot in the sea off Africa.
  if (latitude.value === 0 && longitude.value === 0) {
    look.note("latitude and longitude are both 0 in the header: taken as not known");
    return null;
  }
  for (const other of others)
    if (Math.abs(withinHalfTurn(other.value - longitude.value)) > 0.1)
      look.note(`${longitude.keyword} is ${longitude.value}, ${other.keyword} ${other.value}: the first was taken`);
  return { latitudeDeg: latitude.value, longitudeDeg: eastOf(look, longitude, when), from: latitude.from };
}

/** The longitude, east positive, by the best evidence there is: the user, the sky, the comment, the convention. */
function eastOf(look: Look, longitude: Found<number>, when: When): number {
  const { keyword, comment } = longitude;
  const east = withinHalfTurn(longitude.value);
  const said = look.given("headerLongitude");
  if (said !== null) {
    if (said.value === "west-positive") look.note(`${keyword} counts west as positive, as given: turned round`);
    return said.value === "west-positive" ? -east : east;
  }
  const sky = skyDecides(look, east, when);
  if (sky !== null) {
    if (sky.west) look.note(`${keyword} counts west as positive, as ${sky.keyword} shows: turned round`);
    return sky.west ? -east : east;
  }
  if (/\bwest/i.test(comment) && !/east/i.test(comment) && east > 0) {
    look.note(`${keyword} counts west as positive, as its comment says: turned round`);
    return -east;
  }
  if (keyword === "LONGITUD" && !/east/i.test(comment) && east > 0)
    look.note(`${keyword} is taken as east of Greenwich; some headers count west as positive (give --site if so)`);
  return east;
}

/** Which sign of the longitude fits the sidereal time or the hour angle; null: neither says, or both signs fit. */
function skyDecides(look: Look, eastDeg: number, { startMs, raDeg }: When): { west: boolean; keyword: string } | null {
  if (!Number.isFinite(startMs)) return null;
  for (const { keyword, siderealDeg } of siderealTimes(look, raDeg)) {
    const off = (longitudeDeg: number) =>
      Math.min(
        ...siderealDeg.map((deg) => Math.abs(withinHalfTurn(siderealDegAtGreenwich(startMs) + longitudeDeg - deg))),
      );
    const east = off(eastDeg);
    const west = off(-eastDeg);
    // They are written for the start, the middle or the end: allow a few degrees.
    if (east < 5 && west > 10) return { west: false, keyword };
    if (west < 5 && east > 10) return { west: true, keyword };
    if (east > 10 && west > 10)
      look.note(`${keyword} does not fit the header's longitude and the start time: check clock and site`);
  }
  return null;
}

/** Local sidereal times that the header gives, in degrees; more than one reading where the unit is not said. */
function* siderealTimes(look: Look, raDeg: number): Generator<{ keyword: string; siderealDeg: number[] }> {
  for (const { keyword, value } of anglesOf(look, dialects.siderealTime, 86_400)) {
    // Hours as a rule; some observatories write seconds of the sidereal day, a few degrees.
    const seconds = value > 360 || keyword.startsWith("ESO ");
    yield { keyword, siderealDeg: [seconds ? value / 240 : value > 24 ? value : value * 15] };
  }
  if (!Number.isFinite(raDeg)) return;
  for (const card of look.cards(dialects.hourAngle)) {
    const read = typeof card.value === "number" ? { value: card.value, sexagesimal: false } : angleIn(card.value);
    // A number may be hours or degrees: comments on it have been seen to be wrong.
    if (read !== null && Math.abs(read.value) <= 360)
      yield {
        keyword: card.keyword,
        siderealDeg: [raDeg + 15 * read.value, ...(read.sexagesimal ? [] : [raDeg + read.value])],
      };
  }
}

const angleIn = (value: unknown) => (typeof value === "string" ? parseAngle(value) : null);

function anglesOf(look: Look, keywords: readonly string[], most: number): Found<number>[] {
  return look.cards(keywords).flatMap((card) => {
    const text = typeof card.value === "string" ? card.value.trim() : null;
    const letter = text === null ? null : /[NSEW]$/i.exec(text)?.[0]?.toUpperCase();
    const read = text === null ? { value: Number(card.value) } : parseAngle(letter ? text.slice(0, -1) : text);
    if (read === null || !(Math.abs(read.value) <= most)) return [];
    return [foundIn(card, letter === "S" || letter === "W" ? -Math.abs(read.value) : read.value)];
  });
}

/** Greenwich mean sidereal time to a thousandth of a degree (Meeus, Astronomical Algorithms, 2nd ed., eq. 12.4). */
function siderealDegAtGreenwich(ms: number): number {
  return 280.46061837 + 360.98564736629 * (ms / 86_400_000 + 2440587.5 - 2451545);
}
