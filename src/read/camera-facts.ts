import { dialects } from "./dialects.js";
import { readDuration } from "./durations.js";
import type { ExposureFacts } from "./exposure-facts.js";
import { bare, type Fact, type Found, factOf, foundIn, type Look } from "./facts.js";
import { readTemperature } from "./temperatures.js";

/** Eleven days. */
const longestExposureS = 1e6;

/** Length of the exposure, from the first card that gives one. Cards that differ by more than 1 % are noted. */
export function exposureFact(look: Look): Fact<number> | null {
  const found: Found<number>[] = [];
  for (const card of look.cards(dialects.exposure)) {
    const read = readDuration(card.value, card.comment);
    if (read === null) continue;
    if (read.seconds > longestExposureS) {
      look.note(`${card.keyword} = ${String(card.value)} is no exposure: not used`);
      continue;
    }
    if (read.unit !== "seconds" && read.seconds > 0)
      look.note(
        `${card.keyword} is in ${read.unit}, as its ${typeof card.value === "string" ? "text or comment" : "comment"} says`,
      );
    found.push(foundIn(card, read.seconds));
  }
  const [first, ...rest] = found;
  // Elapsed time includes pauses, so it is never the same.
  for (const other of rest)
    if (other.keyword !== "TELAPSE" && Math.abs(other.value - first!.value) > 0.01 * first!.value)
      look.note(`${first!.keyword} is ${first!.value} s, ${other.keyword} ${other.value} s: the first was taken`);
  return look.prefer("exposureS", first ?? null, "exposure");
}

/** How many exposures were added up, where the header says so. */
export function framesSummedFact(look: Look): Fact<number> | null {
  const counted = look.number(dialects.framesSummed, (n) => n >= 1);
  const target = look.text(dialects.target);
  const words = /\bsum of (\d+)\b/i.exec(target?.value ?? "");
  const summed =
    counted ?? (words === null ? null : factOf(Number(words[1]), { derived: `text of ${target!.keyword}` }));
  if (summed !== null && summed.value > 1)
    look.note(
      `the file is ${summed.value} frames in one: the exposure may be that of one or of all, and levels may be sums`,
    );
  return bare(summed);
}

const perAdu = /\be(?:-|lectrons?(?:\(s\))?)?\s*(?:\/|per)\s*(?:adu|dn|count)/i;
const perElectron = /\b(?:adu|dn|counts?)\s*(?:\/|per)\s*e(?:-|lectron|\b)/i;

/** GAIN is electrons per ADU in observatory headers and a dial's position in those of small cameras. */
export function gainFacts(look: Look): Pick<ExposureFacts, "gainSetting" | "electronsPerAdu"> {
  let electrons: Found<number> | null = look.number(dialects.electronsPerAdu, (n) => n > 0 && n < 1e6);
  let setting: Found<number> | null = look.number(dialects.gainSetting, (n) => n >= 0);
  const gain = look.number(dialects.gain, (n) => n >= 0 && n < 1e6);
  if (gain !== null) {
    if (perAdu.test(gain.comment)) electrons ??= gain.value > 0 ? gain : null;
    else if (perElectron.test(gain.comment)) {
      look.note(`${gain.keyword} is in ADU per electron, as its comment says: turned round`);
      electrons ??= gain.value > 0 ? { ...gain, value: 1 / gain.value } : null;
    } else if (setting === null && (electrons !== null || Number.isInteger(gain.value))) {
      // The same number in two cards is one gain, not a gain and a setting.
      if (electrons === null || electrons.value !== gain.value) setting = gain;
    } else if (electrons === null && gain.value > 0 && gain.value < 20 && /amplifier|e-/i.test(gain.comment)) {
      electrons = gain;
      look.note(
        `${gain.keyword} = ${gain.value} is taken as e-/ADU, since its comment speaks of ${/amplifier/i.test(gain.comment) ? "an amplifier" : "electrons"}`,
      );
    } else if (setting === null) {
      setting = gain;
      look.note(`${gain.keyword} = ${gain.value} does not say whether it is a setting or e-/ADU: taken as a setting`);
    }
  }
  return {
    gainSetting: look.prefer("gainSetting", setting, "gain setting"),
    electronsPerAdu: look.prefer("electronsPerAdu", electrons, "gain in e-/ADU"),
  };
}

/** Temperatures of the sensor, its set point and the air, in Celsius. */
export function temperatureFacts(look: Look): Pick<ExposureFacts, "sensorTempC" | "setTempC" | "ambientTempC"> {
  const ambientTempC = temperatureFact(look, dialects.ambientTemp, "air");
  const sensor = temperatureFact(look, dialects.sensorTemp, "sensor");
  const set = temperatureFact(look, dialects.setTemp, "sensor");
  const isZero = (card: { readonly value: unknown }) => Number(card.value) === 0;
  const coldTip = look.cards(dialects.coldTipTemp);
  // A sensor may well be held at 0 C, but never by a cold tip that is just as warm: nothing was measured.
  const all = [...look.cards(dialects.sensorTemp), ...look.cards(dialects.setTemp), ...coldTip];
  if (sensor !== null && coldTip.length > 0 && all.every(isZero)) {
    look.note("temperatures of sensor, set point and cold tip are all 0: taken as not measured");
    return { sensorTempC: null, setTempC: null, ambientTempC };
  }
  return { sensorTempC: sensor, setTempC: set, ambientTempC };
}

function temperatureFact(look: Look, keywords: readonly string[], of: "sensor" | "air"): Fact<number> | null {
  for (const card of look.cards(keywords)) {
    const read = readTemperature(card.value, card.comment, of);
    if (read === null) continue;
    if (read.guessed && read.unit !== "C")
      look.note(
        `${card.keyword} = ${String(card.value).trim()} has no unit: taken as ${read.unit === "K" ? "kelvin" : "Fahrenheit"}, since no ${of} is that warm in Celsius`,
      );
    return factOf(read.celsius, { keyword: card.keyword, offsetBytes: card.offsetBytes });
  }
  return null;
}
