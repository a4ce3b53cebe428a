import { parseAngle, separationDeg } from "./angles.js";
import { dialects } from "./dialects.js";
import { type Fact, factOf, type Look } from "./facts.js";

interface Place {
  readonly raDeg: Fact<number>;
  readonly decDeg: Fact<number>;
  readonly name: string;
}

/** Farther apart than this, two places in one header do not mean the same field. */
const apartDeg = 1;

/**
 * Where the telescope pointed: what was given, else the target's or the mount's coordinates, else the reference point of
 * a solved projection. Places that contradict each other are noted.
 */
export function coordinateFacts(look: Look): { raDeg: Fact<number> | null; decDeg: Fact<number> | null } {
  const places = placesIn(look);
  const projected = wcsCentre(look);
  const [read = projected] = places;
  const raDeg = look.given("raDeg");
  const decDeg = look.given("decDeg");
  const given = raDeg !== null && decDeg !== null ? { raDeg, decDeg, name: "the place given" } : null;
  const taken = given ?? read;
  if (taken === null) return { raDeg: null, decDeg: null };
  if (given === null) noteEquinox(look);
  for (const place of places) noteApart(look, taken, place, 0);
  if (projected !== null) noteApart(look, taken, projected, halfDiagonalDeg(look));
  return { raDeg: taken.raDeg, decDeg: taken.decDeg };
}

function placesIn(look: Look): Place[] {
  const places: Place[] = [];
  for (const [index, keyword] of dialects.ra.entries()) {
    const decKeyword = dialects.dec[index]!;
    const ra = angleFact(look, keyword, "ra");
    const dec = angleFact(look, decKeyword, "dec");
    if (ra === null || dec === null) continue;
    if (ra.value < 0 || ra.value > 360 || Math.abs(dec.value) > 90)
      look.note(`${keyword} and ${decKeyword} are no place in the sky`);
    // What a mount says that was told nothing.
    else if (ra.value === 0 && dec.value === 0)
      look.note(`${keyword} and ${decKeyword} are both 0: taken as not known`);
    else places.push({ raDeg: ra, decDeg: dec, name: `${keyword}/${decKeyword}` });
  }
  return places;
}

function angleFact(look: Look, keyword: string, which: "ra" | "dec"): Fact<number> | null {
  for (const card of look.cards([keyword])) {
    const read =
      typeof card.value === "number"
        ? { value: card.value, sexagesimal: false, mark: "" }
        : parseAngle(String(card.value));
    if (read === null) continue;
    // Sexagesimal right ascension is in hours, unless a mark or the comment says degrees; a number is in degrees.
    const hours =
      read.mark === "h" ||
      (read.mark === "" &&
        (read.sexagesimal ? !/\bdeg/i.test(card.comment) : /\bhours?\b|\bhrs?\b|\[h\]/i.test(card.comment)));
    return factOf(which === "ra" && hours ? read.value * 15 : read.value, { keyword, offsetBytes: card.offsetBytes });
  }
  return null;
}

function noteApart(look: Look, taken: Place, other: Place, roomDeg: number): void {
  if (other === taken) return;
  const value = ({ raDeg, decDeg }: Place) => ({ raDeg: raDeg.value, decDeg: decDeg.value });
  const apart = separationDeg(value(taken), value(other));
  if (apart > apartDeg + roomDeg)
    look.note(`${taken.name} and ${other.name} are ${apart.toFixed(1)} degrees apart: the first was taken`);
}

/** Coordinates of another year than 2000 are taken as they stand; precession is up to 0.014 degrees a year. */
function noteEquinox(look: Look): void {
  const equinox = look.text(["EQUINOX", "EPOCH"]);
  if (equinox === null) return;
  const year = Number(/^[JB]?(\d{4}(?:\.\d*)?)$/i.exec(equinox.value)?.[1] ?? Number.NaN);
  const off = (Math.abs(year - 2000) * 0.014).toFixed(1);
  if (year > 1800 && year !== 2000)
    look.note(`coordinates are for ${equinox.keyword} ${equinox.value}, taken as J2000: up to ${off} degrees off`);
  else if (/date|now|apparent/i.test(equinox.value))
    look.note(`coordinates are for the date (${equinox.keyword} ${equinox.value}), taken as J2000`);
}

/** The reference point of a solved sky projection. */
function wcsCentre(look: Look): Place | null {
  if (!/^RA---/.test(look.text(["CTYPE1"])?.value ?? "")) return null;
  const ra = look.number(["CRVAL1"]);
  const dec = look.number(["CRVAL2"]);
  if (ra === null || dec === null || Math.abs(dec.value) > 90) return null;
  return {
    raDeg: factOf(((ra.value % 360) + 360) % 360, ra.from),
    decDeg: factOf(dec.value, dec.from),
    name: "the solved projection",
  };
}

/** A reference point may lie anywhere in the image, or a little outside. */
function halfDiagonalDeg(look: Look): number {
  const size = (keyword: string) => look.number([`Z${keyword}`])?.value ?? look.number([keyword])?.value ?? 0;
  const value = (keyword: string) => look.number([keyword])?.value ?? 0;
  const determinant = Math.abs(value("CD1_1") * value("CD2_2") - value("CD1_2") * value("CD2_1"));
  const stepDeg = Math.sqrt(determinant > 0 ? determinant : Math.abs(value("CDELT1") * value("CDELT2")));
  return (Math.hypot(size("NAXIS1"), size("NAXIS2")) * stepDeg) / 2;
}
