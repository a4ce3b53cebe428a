import type { Advice } from "../explain/advice-terms.js";
import type { CauseEvidence, EvidenceCode, SubCause } from "../explain/causes-terms.js";
import type { DriverOutcome, Drivers, Factor, LawCheck, Remedy } from "../explain/drivers-terms.js";
import type { Episode } from "../explain/episodes.js";
import type { GroupSensor, WarmEpisode } from "../explain/sensor.js";
import { type CauseCode, causeRegistry } from "../terms/causes.js";
import { digits } from "./digits.js";
import { changeWords, factorLabel, metricLabels } from "./driver-labels.js";
import { countWords, durationWords } from "./words.js";

const clock = (utc: string) => utc.slice(11, 16);
/** "2025-10-20 20:42-21:30 UTC". */
function span(startUtc: string, endUtc: string): string {
  if (startUtc === "") return "time not known";
  const [from, to] = [clock(startUtc), clock(endUtc)];
  return `${startUtc.slice(0, 10)} ${from}${to === "" || to === from ? "" : `-${to}`} UTC`;
}
const percent = (share: number) => `${Math.round(100 * share)} %`;
const subs = (n: number) => countWords(n, "sub");

/** "2025-10-20 20:42-21:30 UTC  cloud: 7 subs, 6 dropped, 3 min of effective exposure lost (98 % sure)". */
export function episodeLine({ cause, startUtc, endUtc, rows, dropped, costS, probability, rival }: Episode): string {
  const lost = `${durationWords(costS)} of effective exposure lost`;
  if (cause === "bad-file")
    return `${span(startUtc, endUtc)}  bad file: ${countWords(rows.length, "file")} could not be read, ${lost}`;
  const other = rival === undefined ? "" : `, else ${causeRegistry[rival.cause].short} ${percent(rival.probability)}`;
  return `${span(startUtc, endUtc)}  ${causeRegistry[cause].short}: ${subs(rows.length)}, ${dropped || "none"} dropped, ${lost} (${percent(probability)} sure${other})`;
}

/** A rival less likely than this is not worth a reader's time. */
const worthNaming = 0.05;

/** One line a sub: its cause, the next one, the strongest evidence. */
export function subLine(file: string, verdict: string, cause: SubCause): string {
  const [first, second] = cause.ranked;
  const rival =
    second === undefined || second.probability < worthNaming
      ? ""
      : `, else ${causeRegistry[second.cause].short} (${percent(second.probability)})`;
  const [pro, contra] = (["for", "against"] as const).map((way) => evidenceText(cause, cause.cause, way));
  return `${file}  ${verdict}  ${causeRegistry[first!.cause].short} (${percent(first!.probability)})${rival}${pro && `. For it: ${pro}`}${contra && `. Against it: ${contra}`}`;
}

/** A cause of a sub as a line of a table. */
export interface CauseRow {
  /** Its short name. */
  readonly cause: string;
  readonly probabilityPercent: number;
  /** What speaks for it, in words, the plain fact first; empty: nothing that was measured. */
  readonly for: string;
  readonly against: string;
}

/**
 * The causes a sub may have, the likeliest first, with what speaks for and against each in words. Evidence is kept for
 * the two likeliest.
 * @example
 * ```ts
 * import { causeRows, openNight, tableOf } from "nightyield";
 * const { explanation } = await openNight("nightyield-out/march14");
 * const first = explanation.causeOfRow.find((cause) => cause !== null);
 * if (first) console.log(tableOf(causeRows(first)));
 * ```
 */
export const causeRows = (sub: SubCause): CauseRow[] =>
  sub.ranked.map(({ cause, probability }) => ({
    cause: causeRegistry[cause].short,
    probabilityPercent: Math.round(100 * probability),
    for: evidenceText(sub, cause, "for"),
    against: evidenceText(sub, cause, "against"),
  }));

/** What a sub shows, before what it is taken for. */
const plainFacts: ReadonlySet<EvidenceCode> = new Set<EvidenceCode>([
  "light-lost",
  "airmass",
  "stars-wider",
  "stars-elongated",
  "part-blocked",
  "sensor-warmer",
]);
/** So many pieces of evidence are told beside the plain facts. */
const mostEvidence = 2;

/** The plain fact, if there is one, and the strongest evidence that speaks one way for a cause. */
function evidenceText(sub: SubCause, cause: CauseCode, way: CauseEvidence["speaks"]): string {
  const spoken = sub.evidence.filter((e) => e.cause === cause && e.speaks === way);
  const facts = spoken.filter(({ code }) => plainFacts.has(code)).slice(0, 1);
  const others = spoken.filter(({ code }) => !plainFacts.has(code)).slice(0, mostEvidence);
  return [...facts, ...others].map(evidenceWords).join("; ");
}

/** What was observed, with its number. */
export function evidenceWords({ code, cause, value, usual, speaks }: CauseEvidence): string {
  const v = digits(value, 2);
  switch (code) {
    case "light-lost":
      return `starlight at ${percent(value)}`;
    case "background-as-predicted":
      return `${causeRegistry[cause].short} adds ${v} times the light of a dark sky`;
    case "sun-above-night":
      return `the Sun at ${v}\u00b0`;
    case "moon-up":
      return `the Moon at ${v}\u00b0`;
    case "airmass":
      return `so low, the air leaves ${percent(value)} of the effective exposure`;
    case "stars-wider":
      return `stars ${v} times as wide as usual`;
    case "stars-round":
      return value > usual ? `stars are drawn out (ellipticity up by ${v})` : "stars are round";
    case "stars-elongated":
      return `stars are drawn out, which costs ${percent(1 - Math.exp(-value))} of the effective exposure`;
    case "stars-doubled":
      return `as many stars as usual (${percent(value)}), each with less of its light: seen double`;
    case "wider-as-dimmer":
      return value > usual
        ? `width costs ${percent(value)} as much as the light lost (dew: more than ${percent(usual)})`
        : `stars stay sharp: width costs ${percent(Math.max(0, value))} as much as the light lost (dew: more than ${percent(usual)})`;
    case "width-and-light-apart":
      return value < usual
        ? `width and loss of light keep in step, within ${percent(value)}`
        : `width and loss of light go apart, by ${percent(value)}`;
    case "width-grows-with-loss":
      return `width and loss of light ${value > usual ? "rise and fall" : "do not rise and fall"} together (correlation ${v})`;
    case "loss-changes-from-sub-to-sub":
      return `the loss of light ${value > usual ? "jumps" : "changes little, "} by ${percent(value)} from sub to sub`;
    case "minutes-to-dim":
      return `the light took ${durationWords(60 * value)} to go`;
    case "width-follows-time":
      return speaks === "for" ? "neighbours are about as wide" : `neighbours differ by a factor of ${v} in width`;
    case "field-moves-along-elongation":
      return `the field's drift accounts for ${percent(value)} of the trail`;
    case "field-displaced":
      return `the field jumped by ${v} times its usual step`;
    case "elongated-like-neighbours":
      return `${percent(value)} of the neighbours are drawn out alike`;
    case "rotation-predicted":
      return `field rotation blurs the corners by ${v} px`;
    case "sensor-warmer":
      return `sensor ${v} \u00b0C warmer`;
    case "more-hot-pixels":
      return `${v} times as many hot pixels`;
    case "part-blocked":
      return `${percent(value)} of the frame blocked`;
    case "field-elsewhere":
      return `${percent(value)} of the field in the frame`;
    case "line-across":
      return "a bright line across the frame";
    case "unreadable":
      return "the file cannot be read";
    default:
      return code satisfies never;
  }
}

/** "start when the Sun is below -13°, here after 17:40 UTC: +22 min of effective exposure (7 subs)". */
export function adviceLine({ reason, gainMin, subs: n, probability }: Advice): string {
  const sure = probability < 0.8 ? `, the cause ${percent(probability)} sure` : "";
  const gain = `: +${durationWords(60 * gainMin)} of effective exposure (${reason.kind === "check-files" ? countWords(n, "file") : subs(n)}${sure})`;
  const degrees = (value: number) => `${digits(value, 2)}\u00b0`;
  switch (reason.kind) {
    case "start-later":
      return `start when the Sun is below ${degrees(reason.untilSunDeg)}, here after ${clock(reason.atUtc)} UTC${gain}`;
    case "stop-earlier":
      return `stop when the Sun comes to ${degrees(reason.untilSunDeg)}, here at ${clock(reason.atUtc)} UTC${gain}`;
    case "stay-above":
      return `stay above ${degrees(reason.altitudeDeg)}${reason.filter && ` with ${reason.filter}`}${gain}`;
    case "refocus": {
      const drop = Number.isNaN(reason.afterC) ? "" : ` or a drop of ${digits(reason.afterC, 2)} \u00b0C`;
      return `refocus within ${durationWords(60 * reason.afterMin)}${drop}: stars had widened by then${gain}`;
    }
    case "heat-against-dew":
      return `heat the optics against dew from before ${clock(reason.fromUtc)} UTC${gain}`;
    case "cool-sensor":
      return `see to the sensor's cooling: up to ${digits(reason.warmerC, 2)} \u00b0C too warm, subs suffered from ${clock(reason.fromUtc)} UTC on${gain}`;
    case "avoid-obstruction": {
      const where = Number.isNaN(reason.azimuthDeg)
        ? ""
        : ` at azimuth ${degrees(reason.azimuthDeg)}, altitude ${degrees(reason.altitudeDeg)}`;
      return `something stands in the way${where}: change target before ${clock(reason.fromUtc)} UTC${gain}`;
    }
    case "shelter-from-wind":
      return `shelter the telescope from wind${gain}`;
    case "check-tracking":
      return `check tracking and pointing: the first trouble was at ${clock(reason.fromUtc)} UTC${gain}`;
    case "shorter-subs":
      return `expose no longer than ${digits(reason.longestS, 2)} s where the field rotates (now up to ${digits(reason.blurPx, 2)} px in the corners)${gain}`;
    case "avoid-moon":
      return `leave ${reason.filter || "this target"} for when the Moon is down (${percent(reason.illumination)} lit, ${degrees(reason.moonAltitudeDeg)} high)${gain}`;
    case "check-files":
      return `check card and cable: ${countWords(reason.files, "file")} could not be read${gain}`;
    default:
      return reason satisfies never;
  }
}

/** What is known of a group's dark noise; empty when nothing is. */
export function sensorLines(group: GroupSensor): string[] {
  const { filter, exposureS, darkNoise, hotPixels, coolingSavesS, coolingSavesErrorS, coolC } = group;
  const name = `${filter || "no filter"}, ${digits(exposureS)} s`;
  const lines: string[] = [];
  if (darkNoise !== null)
    lines.push(
      `${name}: dark noise doubles every ${digits(darkNoise.intervalC)} +- ${digits(darkNoise.errorC, 2)} \u00b0C (${subs(darkNoise.subs)}, ${digits(darkNoise.fromC)} to ${digits(darkNoise.toC)} \u00b0C); had the sensor stood at ${digits(coolC)} \u00b0C, ${digits(coolingSavesS / 60, 2)} +- ${digits(coolingSavesErrorS / 60, 1)} min more of effective exposure`,
    );
  if (hotPixels !== null)
    lines.push(
      `${name}: the number of hot pixels that stand out of the noise doubles every ${digits(hotPixels.intervalC)} +- ${digits(hotPixels.errorC, 2)} \u00b0C`,
    );
  return lines;
}

/** When a cooled sensor was warm. */
export const warmLine = (e: WarmEpisode): string =>
  `${span(e.startUtc, e.endUtc)}  sensor ${e.kind === "warm-up" ? "not cooled down yet" : "warmed"}: up to ${digits(e.warmestC)} \u00b0C, set point ${digits(e.setPointC)} \u00b0C`;

const remedyWords: Readonly<Record<Remedy, string>> = {
  "follow-through-transit": "a target followed through its transit",
  "moonless-night": "a moonless night",
  "fully-dark-hours": "fully dark hours",
  "alternate-filters": "filters by turns",
  "one-exposure-for-both-filters": "one exposure time for both filters",
  "another-night": "another night",
};

/** Another night moves what moved together here apart only by luck. */
const wouldOrMay = (remedy: Remedy) => (remedy === "another-night" ? "may" : "would");

/** What rejects and quality go with, one line a claim; says so when there is none. */
export function driverLines({ design, laws, outcomes, because }: Drivers): string[] {
  if (because === "too-few-subs") return ["too few subs to say what quality goes with (20 are needed)"];
  const found = laws.filter(({ claimed }) => claimed).map(lawLine);
  if (because === "nothing-varies") return ["nothing varied that quality could go with"];
  if (outcomes.length === 0 && found.length === 0) return ["quality goes with nothing that was tested"];
  const lawHolds = laws.some(({ law, claimed }) => claimed && law === "airmass");
  const pairs = design.inseparable.map(
    ({ factors: [a, b], separatedBy }) =>
      `${factorNames[a.code]} and ${factorNames[b.code]} (${remedyWords[separatedBy]} ${wouldOrMay(separatedBy)} separate them)`,
  );
  return [
    ...found,
    ...outcomes.map((outcome) => outcomeLine(outcome, lawHolds)),
    ...(outcomes.length === 0 ? ["beyond that, quality goes with nothing that was tested"] : []),
    ...(pairs.length === 0 ? [] : [`cannot be separated with these data: ${pairs.join("; ")}`]),
  ];
}

const factorNames: Readonly<Record<Factor["code"], string>> = {
  altitude: "altitude",
  "sensor-temperature": "sensor temperature",
  moon: "Moon",
  twilight: "twilight",
  hour: "hour",
  exposure: "exposure",
  filter: "filter",
};

/** "background with VR, 300 s: twilight adds up to 5910 ADU (90 %: 5870 to 5950), to 3.2 times its level". */
export function lawLine(check: LawCheck): string {
  const { law, filter, exposureS, estimate, interval, levelAdu, from, to } = check;
  const basis = basisWords(check);
  if (law === "airmass") {
    const wider = 100 * ((to / from) ** estimate - 1);
    return `star width grows as the airmass to the power ${digits(estimate, 2)} (90 %: ${digits(interval.low, 2)} to ${digits(interval.high, 2)}; 0.6 is expected): +${digits(wider, 2)} % from airmass ${digits(from)} to ${digits(to)}; ${basis}`;
  }
  const light = law === "twilight" ? "twilight" : "moonlight";
  return `background ${filter && `with ${filter}, `}${digits(exposureS)} s: ${light} adds up to ${digits(estimate)} ADU (90 %: ${digits(interval.low)} to ${digits(interval.high)}), to ${digits(1 + estimate / levelAdu, 2)} times its level, with the course that is predicted; ${basis}`;
}

const basisWords = (of: { readonly subs: number; readonly nights: number }) =>
  `${subs(of.subs)}, ${countWords(of.nights, "night")}`;

/** "target 10° higher: width of the stars −11 % (90 %: −20 % to −5.0 %); 80 subs, 2 nights". */
function outcomeLine(outcome: DriverOutcome, lawHolds: boolean): string {
  const { metric, factors, effect, hourFitsAsWell, equalAltitude: paired } = outcome;
  // Widths are freed of the air's usual growth before they are tested.
  const label = metric === "fwhm" && lawHolds ? "Width of the stars beyond what the air does" : metricLabels[metric];
  const range = `(90 %: ${changeWords(effect.interval.low)} to ${changeWords(effect.interval.high)})`;
  const size = `${factors.map(factorLabel).join(", or ")}: ${label.charAt(0).toLowerCase()}${label.slice(1)} ${changeWords(effect.estimate)} ${range}`;
  const steady = hourFitsAsWell ? "; the hour fits as well, so whatever else changed steadily may be the reason" : "";
  const between = paired
    ? `; between ${countWords(paired.pairs, "pair")} of subs at equal altitude ${changeWords(paired.estimate)} (90 %: ${changeWords(paired.interval.low)} to ${changeWords(paired.interval.high)})`
    : "";
  const basis = `${basisWords(effect)}${between}${steady}`;
  return outcome.kind === "finding"
    ? `${size}; ${basis}`
    : `${size}: cannot be separated with these data, ${remedyWords[outcome.separatedBy]} ${wouldOrMay(outcome.separatedBy)}; ${basis}`;
}
