import type { Limits } from "../grade/limits.js";
import { purposeOf, purposeRegistry } from "../grade/purposes.js";
import { columnRegistry, isColumnName } from "../terms/frame-table.js";
import { type Symptom, symptomRegistry } from "../terms/symptoms.js";
import { units } from "../terms/units.js";
import type { Verdict } from "../terms/verdicts.js";

/** Three significant digits (all of a whole number's), without exponent; "not measured" for NaN. */
export function numberWords(value: number): string {
  if (!Number.isFinite(value)) return "not measured";
  const size = Math.abs(value);
  if (Number.isInteger(value) && size < 100) return String(value);
  if (size >= 100) return Math.round(value).toLocaleString("en").replaceAll(",", "\u202f");
  return value.toFixed(size >= 10 ? 1 : size >= 0.995 || size === 0 ? 2 : 3);
}

/** A number with the unit of its column. */
export function quantityWords(value: number, column: string): string {
  if (!isColumnName(column)) return numberWords(value);
  const unit = units[columnRegistry[column].unit];
  const whole = columnRegistry[column].type === "integer";
  const number = whole ? numberWords(Math.round(value)) : numberWords(value);
  return unit === "" ? number : `${number} ${unit}`;
}

/** A duration in the units people use: 45 s, 12 min, 5 h 35 min. */
export function durationWords(seconds: number): string {
  if (!Number.isFinite(seconds)) return "not known";
  if (seconds < 90) return `${Number(seconds.toFixed(seconds < 10 ? 1 : 0))} s`;
  const minutes = Math.round(seconds / 60);
  if (minutes < 60) return `${minutes} min`;
  return minutes % 60 === 0 ? `${Math.floor(minutes / 60)} h` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}

/** "1 sub", "3 subs". */
export const countWords = (n: number, what: string, whats = `${what}s`): string => `${n} ${n === 1 ? what : whats}`;

/** A list as people say it: a, b and c. */
export const listWords = (items: readonly string[]): string =>
  items.length < 2 ? items.join("") : `${items.slice(0, -1).join(", ")} and ${items.at(-1)}`;

/** One sentence fragment that gives a symptom's numbers, the unit once: "stars 5.10 px wide, 3.20 expected, limit 4.10". */
export function symptomWords(symptom: Symptom): string {
  if (symptom.code === "unreadable")
    return `at byte ${numberWords(symptom.offsetBytes)}: ${symptom.problem}. What to do: ${symptom.remedy}`;
  const { code, column } = symptom;
  const value = quantityWords(symptom.value, column);
  const whole = isColumnName(column) && columnRegistry[column].type === "integer";
  const plain = (number: number) => (whole ? numberWords(Math.round(number)) : numberWords(number));
  const limit = Number.isFinite(symptom.limit) ? `, limit ${plain(symptom.limit)}` : "";
  const against = (where = "") =>
    `${Number.isFinite(symptom.expected) ? `, ${plain(symptom.expected)} expected${where}` : ""}${limit}`;
  const share = percentWords(symptom.value);
  const shareLimit = Number.isFinite(symptom.limit) ? `, limit ${percentWords(symptom.limit)}` : "";
  switch (code) {
    case "few-stars":
      return `${value} stars${against()}`;
    case "faint-stars":
      return `starlight at ${share} of the clearest subs${shareLimit}`;
    case "bright-background":
      return `background ${value}${against()}`;
    case "noisy-background":
      return `background scatters by ${value}${against()}`;
    case "uneven-background":
      return `background changes across the frame by ${value} times its noise${against()}`;
    case "wide-stars":
      // Low in the sky stars are wide however well all else goes; what counts is what the stack bears.
      return symptom.expected >= symptom.limit
        ? `stars ${value} wide, as they are at this altitude (${plain(symptom.expected)}); from ${plain(symptom.limit)} they cost the stack more than they give`
        : `stars ${value} wide${against(" at this altitude")}`;
    case "elongated-stars":
      return `stars drawn out, eccentricity ${value}${against()}`;
    case "rotated-corners":
      return `stars drawn out around the centre by ${value}${limit}`;
    case "streak":
      return `${countWords(Math.round(symptom.value), "bright line")} across the frame`;
    case "saturated":
      return `${share} of the frame at the sensor's limit${shareLimit}`;
    case "blocked-area":
      return `${share} of the frame without stars and sky${shareLimit}`;
    case "shifted-field":
      return Number.isNaN(symptom.value) ? "a field that none of its group shows" : `field shifted by ${value}${limit}`;
    default:
      return code satisfies never; // a new code will not compile until it has words
  }
}

/** A share in percent; "not known" for NaN. */
export const percentWords = (fraction: number): string =>
  !Number.isFinite(fraction) ? "not known" : `${(100 * fraction).toFixed(fraction < 0.1 ? 1 : 0)} %`;

/** Short name and numbers: "wide stars (stars 5.10 px wide, ...)". */
export const reasonWords = (symptom: Symptom): string =>
  `${symptomRegistry[symptom.code].short} (${symptomWords(symptom)})`;

/** The numbers alone where they say what is meant: "stars 5.10 px wide, ..."; an unreadable file is named as such. */
export const reasonText = (symptom: Symptom): string =>
  symptom.code === "unreadable" ? `unreadable ${symptomWords(symptom)}` : symptomWords(symptom);

/** "14 March 2026" of an ISO 8601 text. */
export function dayWords(startUtc: string): string {
  const [year, month, day] = startUtc.slice(0, 10).split("-").map(Number);
  return months[month! - 1] === undefined ? startUtc.slice(0, 10) : `${day} ${months[month! - 1]} ${year}`;
}
const months = "January February March April May June July August September October November December".split(" ");

/** What a verdict means, for legends. */
export const verdictWords: Readonly<Record<Verdict, string>> = {
  keep: "adds to the stack",
  borderline: "adds little, or something stands out: look at it",
  drop: "costs the stack more than it gives, or its stars are spoiled",
  unjudged: "not compared: no light frame, not readable, or too few of its kind",
};

/** A note as a sentence of its own. */
export const sentence = (note: string): string => `${note.charAt(0).toUpperCase()}${sentenceEnd(note.slice(1))}`;

/** The same text with a full stop, unless it has one. */
export const sentenceEnd = (text: string): string => `${text}${/[.!?]$/.test(text) ? "" : "."}`;

/** What the verdicts are for, in a sentence. */
export function purposeWords(limits: Limits): string {
  const purpose = purposeOf(limits);
  return purpose === null
    ? "Verdicts follow limits of your own."
    : `Verdicts are for \u201c${purpose}\u201d: ${purposeRegistry[purpose].about}.`;
}
