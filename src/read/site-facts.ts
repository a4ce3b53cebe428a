import { parseAngle } from "./angles.js";
import { dialects } from "./dialects.js";
import type { ExposureFacts } from "./exposure-facts.js";
import { factOf, type Look, type Origin } from "./facts.js";

/**
 * Where the telescope stood. Longitudes are east positive by today's convention, but some headers count west positive
 * and only the sky can tell: where the header gives the local sidereal time as well, it decides.
 * @param startMs - start of the exposure, Unix milliseconds
 */
export function siteFact(look: Look, startMs: number): ExposureFacts["site"] {
  const latitude = look.given("latitudeDeg");
  const longitude = look.given("longitudeDeg");
  const heightM = look.given("heightM")?.value ?? look.number(dialects.height, (m) => m > -500 && m < 9000)?.value ?? 0;
  if (latitude !== null && longitude !== null) {
    const read = fromHeader(look, startMs);
    if (
      read !== null &&
      Math.hypot(read.latitudeDeg - latitude.value, sideways(read.longitudeDeg - longitude.value)) > 0.1
    )
      look.note("the site given is not the one in the header: the given one was taken");
    return factOf({ latitudeDeg: latitude.value, longitudeDeg: longitude.value, heightM }, latitude.from);
  }
  const read = fromHeader(look, startMs);
  return read === null
    ? null
    : factOf({ latitudeDeg: read.latitudeDeg, longitudeDeg: read.longitudeDeg, heightM }, read.from);
}

function fromHeader(look: Look, startMs: number): { latitudeDeg: number; longitudeDeg: number; from: Origin } | null {
  const latitude = angleOf(look, dialects.latitude, 90);
  const longitude = angleOf(look, dialects.longitude, 360);
  if (latitude === null || longitude === null) return null;
  // A camera that was told nothing writes zeros, a spot in the sea off Africa.
  if (latitude.value === 0 && longitude.value === 0) {
    look.note("latitude and longitude are both 0 in the header: taken as not known");
    return null;
  }
  let east = sideways(longitude.value);
  const west = -east;
  const sidereal = angleOf(look, dialects.siderealTime, 24);
  if (sidereal !== null && Number.isFinite(startMs)) {
    const off = (longitudeDeg: number) =>
      Math.abs(sideways(siderealDegAtGreenwich(startMs) + longitudeDeg - 15 * sidereal.value));
    // Sidereal times are written for the start, the middle or the end: allow a few degrees.
    if (off(west) < 5 && off(east) > 10) {
      east = west;
      look.note(`${longitude.keyword} counts west as positive, as ${sidereal.keyword} shows: turned round`);
    } else if (off(east) > 10 && off(west) > 10)
      look.note(`${sidereal.keyword} does not fit ${longitude.keyword} and the start time: check clock and site`);
  } else if (/\bwest/i.test(longitude.comment) && !/east/i.test(longitude.comment) && east > 0) {
    east = west;
    look.note(`${longitude.keyword} counts west as positive, as its comment says: turned round`);
  } else if (longitude.keyword === "LONGITUD" && !/east/i.test(longitude.comment) && east > 0)
    look.note(
      `${longitude.keyword} is taken as east of Greenwich; some headers count west as positive (give --site if so)`,
    );
  return { latitudeDeg: latitude.value, longitudeDeg: east, from: latitude.from };
}

function angleOf(look: Look, keywords: readonly string[], most: number) {
  for (const card of look.cards(keywords)) {
    const text = typeof card.value === "string" ? card.value.trim() : null;
    const letter = text === null ? null : /[NSEW]$/i.exec(text)?.[0]?.toUpperCase();
    const read = text === null ? { value: Number(card.value) } : parseAngle(letter ? text.slice(0, -1) : text);
    if (read === null || !(Math.abs(read.value) <= most)) continue;
    const value = letter === "S" || letter === "W" ? -Math.abs(read.value) : read.value;
    return {
      value,
      keyword: card.keyword,
      comment: card.comment,
      from: { keyword: card.keyword, offsetBytes: card.offsetBytes },
    };
  }
  return null;
}

/** To -180 to 180. */
const sideways = (deg: number) => (deg >= -180 && deg < 180 ? deg : ((((deg + 180) % 360) + 360) % 360) - 180);

/** Greenwich mean sidereal time to a thousandth of a degree (Meeus, Astronomical Algorithms, 2nd ed., eq. 12.4). */
function siderealDegAtGreenwich(ms: number): number {
  return 280.46061837 + 360.98564736629 * (ms / 86_400_000 + 2440587.5 - 2451545);
}
