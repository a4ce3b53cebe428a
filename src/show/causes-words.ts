import type { Advice } from "../explain/advice-terms.js";
import type { CauseEvidence, SubCause } from "../explain/causes-terms.js";
import type { DriverOutcome, Drivers, Factor, LawCheck, MetricCode, Remedy } from "../explain/drivers-terms.js";
import type { Episode } from "../explain/episodes.js";
import type { GroupSensor, WarmEpisode } from "../explain/sensor.js";
import { causeRegistry } from "../terms/causes.js";
import { digits } from "./digits.js";

const clock = (utc: string) => utc.slice(11, 16);
/** "2025-10-20 20:42-21:30 UTC". */
const span = (startUtc: string, endUtc: string) =>
  startUtc === "" ? "time not known" : `${startUtc.slice(0, 10)} ${clock(startUtc)}-${clock(endUtc)} UTC`;
const percent = (share: number) => `${Math.round(100 * share)} %`;
const subs = (n: number) => `${n} sub${n === 1 ? "" : "s"}`;

/** "2025-10-20 20:42-21:30 UTC  cloud: 7 subs, 6 dropped, 3 min effective lost (98 % sure)". */
export function episodeLine({ cause, startUtc, endUtc, rows, dropped, costS, probability, rival }: Episode): string {
  const other = rival === undefined ? "" : `, else ${causeRegistry[rival.cause].short} ${percent(rival.probability)}`;
  return `${span(startUtc, endUtc)}  ${causeRegistry[cause].short}: ${subs(rows.length)}, ${dropped} dropped, ${digits(costS / 60, 2)} min effective lost (${percent(probability)} sure${other})`;
}

/** One line a sub: its cause, the next one, the strongest evidence. */
export function subLine(file: string, verdict: string, cause: SubCause): string {
  const [first, second] = cause.ranked;
  const rival =
    second === undefined ? "" : `, else ${causeRegistry[second.cause].short} (${percent(second.probability)})`;
  const speaks = (way: CauseEvidence["speaks"]) =>
    cause.evidence.filter((e) => e.cause === cause.cause && e.speaks === way).slice(0, 2);
  const list = (items: readonly CauseEvidence[]) => items.map(evidenceWords).join("; ");
  const [pro, contra] = [list(speaks("for")), list(speaks("against"))];
  return `${file}  ${verdict}  ${causeRegistry[first!.cause].short} (${percent(first!.probability)})${rival}${pro && `. For it: ${pro}`}${contra && `. Against it: ${contra}`}`;
}

/** What was observed, with its number. */
export function evidenceWords({ code, value, usual }: CauseEvidence): string {
  const [v, u] = [digits(value, 2), digits(usual, 2)];
  switch (code) {
    case "light-lost":
      return `starlight at ${percent(value)}`;
    case "background-as-predicted":
      return `the sky is predicted brighter by ${v} of a dark sky`;
    case "sun-above-night":
      return `the Sun at ${v} deg`;
    case "moon-up":
      return `the Moon at ${v} deg`;
    case "airmass":
      return `the air leaves ${percent(value)} of the depth`;
    case "stars-wider":
      return `stars ${v} times as wide as usual`;
    case "stars-round":
      return value > usual ? `stars drawn out (ellipticity up by ${v})` : "stars are round";
    case "stars-elongated":
      return `stars drawn out, which costs ${percent(1 - Math.exp(-value))}`;
    case "wider-as-dimmer":
      return `${v} of width for each part of light lost (dew: more than ${u})`;
    case "width-and-light-apart":
      return `width strays by ${percent(value)} from going with the light`;
    case "width-grows-with-loss":
      return `width and loss of light are correlated by ${v}`;
    case "loss-changes-from-sub-to-sub":
      return `the loss of light jumps by ${percent(value)} from sub to sub (usual ${percent(usual)})`;
    case "minutes-to-dim":
      return `the light took ${v} min to go`;
    case "width-follows-time":
      return `neighbours are within a factor of ${v} in width`;
    case "field-moves-along-elongation":
      return `the field's movement would draw ${percent(value)} of the trail`;
    case "field-displaced":
      return `the field moved by ${v} usual steps`;
    case "elongated-like-neighbours":
      return `${percent(value)} of the neighbours are drawn out alike`;
    case "rotation-predicted":
      return `field rotation blurs the corners by ${v} px`;
    case "sensor-warmer":
      return `sensor ${v} C warmer`;
    case "more-hot-pixels":
      return `${v} times as many hot pixels`;
    case "part-blocked":
      return `${percent(value)} of the frame blocked`;
    case "field-elsewhere":
      return `${percent(value)} of the field in the frame`;
    case "line-across":
      return "a bright line";
    case "unreadable":
      return "the file cannot be read";
    default:
      return code satisfies never;
  }
}

/** "start after the end of nautical twilight (...): +22 min effective". */
export function adviceLine({ reason, gainMin, subs: n, probability }: Advice): string {
  const sure = probability < 0.8 ? `, the cause ${percent(probability)} sure` : "";
  const gain = `: +${digits(gainMin, 2)} min effective (${subs(n)}${sure})`;
  switch (reason.kind) {
    case "start-later":
      return `start when the Sun is below ${reason.untilSunDeg} deg, here after ${clock(reason.atUtc)} UTC${gain}`;
    case "stop-earlier":
      return `stop when the Sun comes above ${reason.untilSunDeg} deg, here at ${clock(reason.atUtc)} UTC${gain}`;
    case "stay-above":
      return `stay above ${digits(reason.altitudeDeg, 2)} deg${reason.filter && ` with ${reason.filter}`}${gain}`;
    case "refocus": {
      const drop = Number.isNaN(reason.afterC) ? "" : ` or a drop of ${digits(reason.afterC, 2)} C`;
      return `refocus within ${digits(reason.afterMin, 2)} min${drop}: stars had widened by then${gain}`;
    }
    case "heat-against-dew":
      return `heat the optics against dew from before ${clock(reason.fromUtc)} UTC${gain}`;
    case "cool-sensor":
      return `see to the sensor's cooling: ${digits(reason.warmerC, 2)} C too warm from ${clock(reason.fromUtc)} UTC${gain}`;
    case "avoid-obstruction": {
      const where = Number.isNaN(reason.azimuthDeg)
        ? ""
        : ` at azimuth ${digits(reason.azimuthDeg)}, altitude ${digits(reason.altitudeDeg, 2)} deg`;
      return `something stands in the way${where}: change target before ${clock(reason.fromUtc)} UTC${gain}`;
    }
    case "shelter-from-wind":
      return `shelter the telescope from wind${gain}`;
    case "check-tracking":
      return `check tracking and pointing: the first trouble was at ${clock(reason.fromUtc)} UTC${gain}`;
    case "shorter-subs":
      return `expose no longer than ${digits(reason.longestS, 2)} s where the field rotates (now up to ${digits(reason.blurPx, 2)} px in the corners)${gain}`;
    case "avoid-moon":
      return `leave ${reason.filter || "this target"} for when the Moon is down (${percent(reason.illumination)} lit, ${digits(reason.moonAltitudeDeg, 2)} deg high)${gain}`;
    case "check-files":
      return `check card and cable: ${reason.files} files cannot be read${gain}`;
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
      `${name}: dark noise doubles every ${digits(darkNoise.intervalC)} +- ${digits(darkNoise.errorC, 2)} C (${darkNoise.subs} subs, ${digits(darkNoise.fromC)} to ${digits(darkNoise.toC)} C); at ${digits(coolC)} C ${digits(coolingSavesS / 60, 2)} +- ${digits(coolingSavesErrorS / 60, 1)} min effective more`,
    );
  if (hotPixels !== null)
    lines.push(`${name}: hot pixels double every ${digits(hotPixels.intervalC)} +- ${digits(hotPixels.errorC, 2)} C`);
  return lines;
}

/** When a cooled sensor was warm. */
export const warmLine = (e: WarmEpisode): string =>
  `${span(e.startUtc, e.endUtc)}  sensor ${e.kind === "warm-up" ? "not cooled down yet" : "warmed"}: up to ${digits(e.warmestC)} C, set point ${digits(e.setPointC)} C`;

const metricWords: Readonly<Record<MetricCode, string>> = {
  rejects: "the odds of a reject",
  fwhm: "star width",
  transparency: "transparency",
  background: "background",
  noise: "noise",
};
const remedyWords: Readonly<Record<Remedy, string>> = {
  "follow-through-transit": "a target followed through its transit",
  "moonless-night": "a moonless night",
  "fully-dark-hours": "fully dark hours",
  "alternate-filters": "filters by turns",
  "one-exposure-for-both-filters": "one exposure time for both filters",
  "another-night": "another night",
};

function factorWords({ code, filter, against }: Factor): string {
  switch (code) {
    case "altitude":
      return "10 deg of altitude";
    case "sensor-temperature":
      return "1 C of sensor temperature";
    case "moon":
      return "the full Moon overhead";
    case "twilight":
      return "6 deg of the Sun";
    case "hour":
      return "an hour";
    case "exposure":
      return "twice the exposure";
    case "filter":
      return `filter ${filter ?? "?"} instead of ${against ?? "?"}`;
    default:
      return code satisfies never;
  }
}

/** What rejects and quality go with, one line a claim; says so when there is none. */
export function driverLines({ design, laws, outcomes, because }: Drivers): string[] {
  if (because === "too-few-subs") return ["too few subs to say what quality goes with (20 are needed)"];
  const found = laws.filter(({ claimed }) => claimed).map(lawLine);
  if (because === "nothing-varies") return ["nothing varied that quality could go with"];
  if (outcomes.length === 0 && found.length === 0) return ["quality goes with nothing that was tested"];
  return [
    ...found,
    ...outcomes.map(outcomeLine),
    ...(outcomes.length === 0 ? ["beyond that, quality goes with nothing that was tested"] : []),
    ...(design.inseparable.length === 0
      ? []
      : [
          `cannot be separated with these data: ${design.inseparable.map(({ factors: [a, b], separatedBy }) => `${factorNames[a.code]} and ${factorNames[b.code]} (${remedyWords[separatedBy]} would)`).join("; ")}`,
        ]),
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
  const basis = `${subs(check.subs)}, ${check.nights} night${check.nights === 1 ? "" : "s"}`;
  if (law === "airmass") {
    const wider = 100 * ((to / from) ** estimate - 1);
    return `star width grows as the airmass to the power ${digits(estimate, 2)} (90 %: ${digits(interval.low, 2)} to ${digits(interval.high, 2)}; 0.6 is expected): +${digits(wider, 2)} % from airmass ${digits(from)} to ${digits(to)}; ${basis}`;
  }
  const light = law === "twilight" ? "twilight" : "moonlight";
  return `background ${filter && `with ${filter}, `}${digits(exposureS)} s: ${light} adds up to ${digits(estimate)} ADU (90 %: ${digits(interval.low)} to ${digits(interval.high)}), to ${digits(1 + estimate / levelAdu, 2)} times its level, with the course that is predicted; ${basis}`;
}

function outcomeLine(outcome: DriverOutcome): string {
  const { metric, factors, effect } = outcome;
  const change = (log: number) => {
    if (log > Math.log(3))
      return log === Number.POSITIVE_INFINITY ? "without limit" : `${digits(Math.exp(log), 2)} times`;
    const percentage = 100 * (Math.exp(log) - 1);
    return `${percentage >= 0 ? "+" : ""}${Math.abs(percentage) < 10 ? percentage.toFixed(1) : Math.round(percentage)} %`;
  };
  const [low, high] = [effect.interval.low, effect.interval.high];
  const size = `${metricWords[metric]} ${change(effect.estimate)} (90 %: ${change(low)} to ${change(high)}) for ${factors.map(factorWords).join(" or ")}`;
  const steady = outcome.hourFitsAsWell
    ? "; the hour fits as well, so whatever else changed steadily may be the reason"
    : "";
  const basis = `${effect.subs} subs, ${effect.nights} night${effect.nights === 1 ? "" : "s"}${steady}`;
  return outcome.kind === "finding"
    ? `${size}; ${basis}`
    : `${size}: cannot be separated with these data, ${remedyWords[outcome.separatedBy]} would; ${basis}`;
}
