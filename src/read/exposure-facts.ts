import type { FilterKind, FrameKind } from "../terms/verdicts.js";
import { parseAngle } from "./angles.js";
import { bayerFact } from "./bayer-facts.js";
import { dialects, filterWords, kindWords } from "./dialects.js";
import { type Fact, factOf, type GivenFrom, type Look, lookIn, type Origin } from "./facts.js";
import type { Header } from "./header.js";
import { scaleFacts } from "./scale-facts.js";
import { siteFact } from "./site-facts.js";
import { startFact } from "./start-facts.js";
import { readTemperature } from "./temperatures.js";

/** What the user can say when headers do not, or say it wrongly. A given value wins; a difference is noted. */
export interface GivenValues {
  readonly name?: string;
  readonly latitudeDeg?: number;
  /** East positive. */
  readonly longitudeDeg?: number;
  readonly heightM?: number;
  readonly target?: string;
  readonly raDeg?: number;
  readonly decDeg?: number;
  readonly pixelScaleArcsec?: number;
  readonly focalLengthMm?: number;
  readonly pixelSizeUm?: number;
  readonly electronsPerAdu?: number;
  readonly readNoiseE?: number;
  readonly saturationAdu?: number;
  readonly gainSetting?: number;
  readonly exposureS?: number;
  readonly filter?: string;
  readonly bayer?: string;
  /** Seconds that the camera's clock was ahead of UTC. */
  readonly clockAheadS?: number;
}

/** Given values and where they came from; later ones win. */
export type Given = readonly { readonly from: GivenFrom; readonly values: GivenValues }[];

/** What is known of an exposure, each value with its origin; null: not known. */
export interface ExposureFacts {
  readonly kind: Fact<FrameKind>;
  readonly target: Fact<string> | null;
  readonly filter: Fact<string> | null;
  readonly filterKind: Fact<FilterKind>;
  /** Start of the exposure as ISO text, UTC. */
  readonly startUtc: Fact<string> | null;
  /** The same as Unix milliseconds. */
  readonly startUtcMs: Fact<number> | null;
  readonly exposureS: Fact<number> | null;
  readonly gainSetting: Fact<number> | null;
  readonly electronsPerAdu: Fact<number> | null;
  readonly readNoiseE: Fact<number> | null;
  readonly sensorTempC: Fact<number> | null;
  readonly setTempC: Fact<number> | null;
  readonly ambientTempC: Fact<number> | null;
  /** Taken as J2000 (ICRS) unless the notes say otherwise. */
  readonly raDeg: Fact<number> | null;
  readonly decDeg: Fact<number> | null;
  readonly site: Fact<{ readonly latitudeDeg: number; readonly longitudeDeg: number; readonly heightM: number }> | null;
  readonly focalLengthMm: Fact<number> | null;
  /** Of the pixels as stored, after binning. */
  readonly pixelSizeUm: Fact<number> | null;
  readonly pixelScaleArcsec: Fact<number> | null;
  readonly binningX: Fact<number> | null;
  readonly binningY: Fact<number> | null;
  /** Colour mosaic of the image as stored, first stored row first. */
  readonly bayer: Fact<string> | null;
  readonly saturationAdu: Fact<number> | null;
  readonly pedestalAdu: Fact<number> | null;
  readonly framesSummed: Fact<number> | null;
  /** Contradictions, assumptions and gaps, in words. */
  readonly notes: readonly string[];
}

/**
 * Reads what an exposure's headers say, in any of the dialects of {@link dialects}.
 * @param headers - the image's own header first, then the primary one
 * @param given - what the user says
 */
export function exposureFacts(headers: readonly Header[], given: Given = []): ExposureFacts {
  const notes: string[] = [];
  const look = lookIn(headers, given, notes);
  const exposureS = exposureFact(look);
  const start = startFact(look, exposureS?.value ?? Number.NaN);
  const { raDeg, decDeg } = coordinateFacts(look);
  const filter = look.given("filter") ?? look.text(dialects.filter);
  const gains = gainFacts(look);
  const facts = {
    kind: kindFact(look, exposureS?.value ?? Number.NaN),
    target: look.given("target") ?? look.text(dialects.target),
    filter,
    filterKind: filterKindFact(filter),
    startUtc: start?.text ?? null,
    startUtcMs: start?.ms ?? null,
    exposureS,
    ...gains,
    readNoiseE: look.given("readNoiseE") ?? look.number(dialects.readNoise),
    sensorTempC: temperatureFact(look, dialects.sensorTemp, "sensor"),
    setTempC: temperatureFact(look, dialects.setTemp, "set"),
    ambientTempC: temperatureFact(look, dialects.ambientTemp, "air"),
    raDeg,
    decDeg,
    site: siteFact(look, start?.ms.value ?? Number.NaN),
    ...scaleFacts(look),
    bayer: bayerFact(look),
    saturationAdu: look.given("saturationAdu") ?? look.number(dialects.saturation),
    pedestalAdu: look.number(dialects.pedestal),
    framesSummed: look.number(dialects.framesSummed),
  };
  return { ...facts, notes };
}

function exposureFact(look: Look): Fact<number> | null {
  const given = look.given("exposureS");
  const found = look.number(dialects.exposure, (n) => n >= 0);
  if (found === null) return given;
  const { comment } = found;
  const minutes = /\bmin(?:ute)?s?\b/i.test(comment) && !/sec/i.test(comment);
  const milliseconds = /\bms\b|\bmsec|millisec/i.test(comment);
  const factor = minutes ? 60 : milliseconds ? 0.001 : 1;
  if (factor !== 1) look.note(`${found.keyword} is in ${minutes ? "minutes" : "milliseconds"}, as its comment says`);
  const read = factOf(found.value * factor, found.from);
  look.contradicts(given, read, "exposure");
  return given ?? read;
}

function kindFact(look: Look, exposureS: number): Fact<FrameKind> {
  const said = look.text(dialects.kind);
  if (said !== null) {
    const kind = kindWords.find(([words]) => words.test(said.value))?.[1];
    if (kind !== undefined) return factOf(kind, said.from);
    look.note(`'${said.value}' is no known kind of exposure: taken as a light frame`);
    return factOf("light", said.from);
  }
  if (exposureS === 0) {
    look.note("exposure 0 s: taken as a bias frame");
    return factOf("bias", { derived: "exposure of 0 s" });
  }
  const target = look.text(dialects.target)?.value ?? "";
  const named = kindWords.find(([words, kind]) => kind !== "light" && kind !== "other" && words.test(target))?.[1];
  if (named !== undefined && /^(?:master[ _-]?)?(?:dark|flat|bias|zero)/i.test(target)) {
    look.note(`no keyword says what kind of exposure this is; its object is '${target}'`);
    return factOf(named, { derived: "name of the object" });
  }
  return factOf("light", { derived: "nothing says otherwise" });
}

function filterKindFact(filter: Fact<string> | null): Fact<FilterKind> {
  if (filter === null) return factOf("unknown", { derived: "no filter is named" });
  const kind = filterWords.find(([words]) => words.test(filter.value.trim()))?.[1] ?? "unknown";
  return factOf(kind, { derived: "name of the filter" });
}

function gainFacts(look: Look): { gainSetting: Fact<number> | null; electronsPerAdu: Fact<number> | null } {
  let electrons = look.number(dialects.electronsPerAdu, (n) => n > 0);
  let setting = look.number(dialects.gainSetting, (n) => n >= 0);
  const gain = look.number(dialects.gain, (n) => n >= 0);
  if (gain !== null) {
    // GAIN is electrons per ADU in observatory headers and a dial's position in those of small cameras.
    if (/e-?\s*(?:lectrons?)?\s*(?:\/|per)\s*(?:adu|dn|count)/i.test(gain.comment)) electrons ??= gain;
    else if (setting === null && (electrons !== null || Number.isInteger(gain.value))) setting = gain;
    else if (electrons === null && gain.value > 0 && gain.value < 20 && /amplifier|e-/i.test(gain.comment))
      electrons = gain;
    else {
      setting ??= gain;
      look.note(`${gain.keyword} = ${gain.value} does not say whether it is a setting or e-/ADU: taken as a setting`);
    }
  }
  const givenElectrons = look.given("electronsPerAdu");
  look.contradicts(givenElectrons, electrons, "gain in e-/ADU");
  return { gainSetting: look.given("gainSetting") ?? setting, electronsPerAdu: givenElectrons ?? electrons };
}

function temperatureFact(look: Look, keywords: readonly string[], what: string): Fact<number> | null {
  for (const card of look.cards(keywords)) {
    const read = readTemperature(card.value, card.comment);
    if (read === null) continue;
    if (read.celsius < -273.15) continue;
    if (read.guessed && read.unit === "K")
      look.note(
        `${card.keyword} = ${String(card.value).trim()} has no unit: taken as kelvin, since no ${what} is that warm in Celsius`,
      );
    // A controller that reports 0 everywhere has measured nothing.
    if (Number(card.value) === 0 && look.cards(dialects.setTemp).some((set) => Number(set.value) === 0)) {
      look.note(`${card.keyword} and the set temperature are both 0: taken as not measured`);
      return null;
    }
    return factOf(read.celsius, { keyword: card.keyword, offsetBytes: card.offsetBytes });
  }
  return null;
}

function coordinateFacts(look: Look): { raDeg: Fact<number> | null; decDeg: Fact<number> | null } {
  const givenRa = look.given("raDeg");
  const givenDec = look.given("decDeg");
  if (givenRa !== null && givenDec !== null) return { raDeg: givenRa, decDeg: givenDec };
  for (const [index, keyword] of dialects.ra.entries()) {
    const ra = angleFact(look, keyword, "ra");
    const dec = angleFact(look, dialects.dec[index]!, "dec");
    if (ra === null || dec === null) continue;
    if (ra.value < 0 || ra.value > 360 || Math.abs(dec.value) > 90) {
      look.note(`${keyword} and ${dialects.dec[index]} are no place in the sky`);
      continue;
    }
    noteEquinox(look);
    return { raDeg: ra, decDeg: dec };
  }
  return wcsCentre(look) ?? { raDeg: null, decDeg: null };
}

function angleFact(look: Look, keyword: string, which: "ra" | "dec"): Fact<number> | null {
  for (const card of look.cards([keyword])) {
    const read =
      typeof card.value === "number" ? { value: card.value, sexagesimal: false } : parseAngle(String(card.value));
    if (read === null) continue;
    const hours =
      which === "ra" &&
      (read.sexagesimal ? !/deg/i.test(card.comment) : /\bhours?\b|\bhrs?\b|\[h\]/i.test(card.comment));
    return factOf(hours ? read.value * 15 : read.value, { keyword, offsetBytes: card.offsetBytes });
  }
  return null;
}

function noteEquinox(look: Look): void {
  const equinox = look.number(["EQUINOX", "EPOCH"]);
  if (equinox !== null && equinox.value !== 2000 && equinox.value > 1800)
    look.note(
      `coordinates are for ${equinox.keyword} ${equinox.value}, taken as J2000: up to ${(Math.abs(equinox.value - 2000) * 0.014).toFixed(1)} degrees off`,
    );
}

/** The reference point of a solved sky projection, where that is all the header gives. */
function wcsCentre(look: Look): { raDeg: Fact<number>; decDeg: Fact<number> } | null {
  if (!/^RA---/.test(look.text(["CTYPE1"])?.value ?? "")) return null;
  const ra = look.number(["CRVAL1"]);
  const dec = look.number(["CRVAL2"]);
  if (ra === null || dec === null || Math.abs(dec.value) > 90) return null;
  return { raDeg: factOf(((ra.value % 360) + 360) % 360, ra.from), decDeg: factOf(dec.value, dec.from) };
}

export type { Fact, Origin };
