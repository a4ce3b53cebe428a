import { resolve } from "node:path";
import { toExactJson } from "../numbers/exact-json.js";
import { iCalendar } from "../plan/calendar.js";
import { depthReached, type FilterDepth, stackLimits } from "../plan/depth.js";
import type { Outlook } from "../plan/forecast.js";
import type { Goal, GoalSeconds } from "../plan/goal.js";
import { type NoiseModel, noiseModels } from "../plan/noise-model.js";
import { type Remaining, remainingOf } from "../plan/remaining.js";
import type { NightWindow, NoWindow } from "../plan/windows.js";
import { writeWhole } from "../read/write-whole.js";
import { extinctionAtHeight } from "../sky/extinction.js";
import { findObject } from "../sky/find-object.js";
import type { Site, Target } from "../sky/site.js";
import { CallError } from "../terms/errors.js";
import { selectRows } from "../terms/frame-table.js";
import type { Command } from "./command.js";
import { flags, wholeNumber } from "./command.js";
import { givenFrom } from "./night-flags.js";
import { bytesText, cameraFlags, cameraGiven, digits, numberFlag, requestFor, tablesOf } from "./plan-tables.js";

const usage =
  "remaining DIR... [--goal-hours H | --deeper FACTOR | --like DIR | --goal-snr N --surface-mag MAG --zero-point MAG] [--site LAT,LON[,HEIGHT_M]] [--target NAME|RA,DEC] [--filter NAME] [--clear-odds P] [--ics FILE] [--json]";
const options = {
  ...cameraFlags,
  site: { type: "string" },
  target: { type: "string" },
  "goal-hours": { type: "string" },
  deeper: { type: "string" },
  like: { type: "string" },
  "goal-snr": { type: "string" },
  "surface-mag": { type: "string" },
  "zero-point": { type: "string" },
  "clear-odds": { type: "string" },
  from: { type: "string" },
  nights: { type: "string" },
  hours: { type: "string" },
  "min-altitude": { type: "string" },
  "sun-below": { type: "string" },
  "dark-zenith": { type: "string" },
  ics: { type: "string" },
} as const;
type Values = { readonly [K in Exclude<keyof typeof options, "json">]?: string } & { readonly json?: boolean };

/** How much more is needed, and by when. */
export const remaining: Command = {
  usage,
  summary: "how deep a target is, how much more it needs, and on which nights",
  help: `
Reads frames.ecsv of one or more triage results (DIR) and says for every target and filter how much effective integration there is, what is still
missing to a goal, with 10, 50 and 90 % values, and which of the coming nights would bring it.

  --goal-hours H     goal: effective integration, hours
  --deeper FACTOR    goal: signal over noise times FACTOR
  --like DIR         goal: as deep as the stack of another triage result of the same set-up
  --goal-snr N       goal: signal over noise of light of --surface-mag (mag/arcsec2); needs --zero-point, the magnitude
                     of a star that gives 1 e-/s
  --site LAT,LON     the observer; without it nights are counted, not dated
  --target NAME      where the OBJECT name is not in the table of deep-sky objects: another name, or RA,DEC
  --filter NAME      only this filter
  --clear-odds P     chance that a night can be used, 0 to 1 (your weather); 1 when left out
  --from DATE        first night, as 2026-03-14; tonight when left out
  --nights N         how far to look; 60 when left out
  --hours H          most hours of capture a night; all that is dark when left out
  --min-altitude DEG the lowest altitude; from your own yield when left out
  --sun-below DEG    the Sun's highest altitude, -18 to -6; -18 when left out
  --dark-zenith MAG  zenith of your dark sky, mag/arcsec2, for the Moon's effect; 20 when left out
  --gain, --read-noise, --pedestal, --dark  the camera, as for sublength
  --card-gb GB       free space
  --ics FILE         write the windows as a calendar
  --json             the same as JSON

Example: twice as deep as now, under a sky that is clear every third night:
  nightyield remaining out/march14 out/march15 --deeper 2 --site 48.2,16.4 --clear-odds 0.33 --ics plan.ics`,
  async run(args) {
    const parsed = flags(args, options, usage);
    const values = parsed.values as Values;
    const { positionals } = parsed;
    if (positionals.length === 0) throw new CallError(`Give at least one triage result. Usage: nightyield ${usage}`);
    const given = cameraGiven(values);
    const asked = askedFrom(values);
    const all = values.like === undefined ? positionals : [...positionals, values.like];
    const { table, from, ownScale } = tablesOf(all);
    const reference =
      values.like === undefined
        ? []
        : depthReached(
            selectRows(
              table,
              rowsFrom(from, (n) => n === positionals.length),
            ),
          );
    const own =
      values.like === undefined
        ? table
        : selectRows(
            table,
            rowsFrom(from, (n) => n < positionals.length),
          );
    const models = noiseModels(own, given);
    const depths = depthReached(own).filter(
      ({ filter, kept }) =>
        kept > 0 && (values.filter === undefined || filter.toLowerCase() === values.filter.toLowerCase()),
    );
    if (depths.length === 0)
      throw new CallError(
        `No kept light frame matches; filters: ${[...new Set(own.filter)].filter((name) => name !== "").join(", ") || "none"}`,
      );
    const answers = depths.map((depth): Answer => {
      const noise = models.find(({ filter }) => filter === depth.filter) ?? null;
      const goal = goalFor(values, depth, reference);
      const target = asked.target ?? findObject(depth.target);
      const plan = remainingOf(own, depth, {
        ...asked.plan,
        noise,
        ...(goal !== null && { goal }),
        ...(target !== null && { target }),
      });
      return { depth, noise, plan };
    });
    if (values.json === true) console.log(toExactJson(answers));
    else console.log(answers.map((answer) => textOf(answer, values)).join("\n\n"));
    if (values.ics !== undefined) writeCalendar(values.ics, answers);
    const notes = [...new Set(answers.flatMap((answer) => requests(answer, values)))];
    if (ownScale.length > 0)
      notes.push(
        `filter ${ownScale.join(", ")}: these results differ in gain or image size, or lack noise; their hours are added as each gives them`,
      );
    for (const note of notes) console.error(`attention: ${note}`);
    return notes.length === 0 ? 0 : 1;
  },
};

interface Answer {
  readonly depth: FilterDepth;
  readonly noise: NoiseModel | null;
  readonly plan: Remaining;
}

function askedFrom(values: Values) {
  const [told] = givenFrom({ site: values.site, target: values.target }).given ?? [];
  const { latitudeDeg, longitudeDeg, heightM = 0, raDeg, decDeg, target: name } = told?.values ?? {};
  const site: Site | null =
    latitudeDeg === undefined || longitudeDeg === undefined ? null : { latitudeDeg, longitudeDeg, heightM };
  const named = name === undefined ? null : findObject(name);
  if (name !== undefined && named === null)
    throw new CallError(
      `--target '${name}' is not in the table of deep-sky objects; give RA,DEC like 83.82,-5.39 or 05:35:17,-05:23:28`,
    );
  const target: Target | null = raDeg === undefined || decDeg === undefined ? named : { raDeg, decDeg };
  const fromMs = values.from === undefined ? Date.now() : Date.parse(`${values.from}T18:00:00Z`);
  if (Number.isNaN(fromMs)) throw new CallError(`--from is '${values.from}', expected a date like 2026-03-14`);
  const number = (flag: keyof Values & string, low: number, high: number) =>
    numberFlag(values[flag] as string | undefined, flag, low, high);
  const clearOdds = number("clear-odds", 0, 1);
  const hoursPerNight = number("hours", 0.01, 24);
  const minAltitudeDeg = number("min-altitude", 0, 89);
  const sunBelowDeg = number("sun-below", -18, -6);
  const darkZenithMag = number("dark-zenith", 15, 23) ?? 20;
  return {
    target,
    plan: {
      fromMs,
      nights: values.nights === undefined ? 60 : wholeNumber(values.nights, "nights", 1, 400),
      sky: { darkZenithMag, extinctionMagPerAirmass: extinctionAtHeight(site?.heightM ?? 0) },
      ...(site !== null && { site }),
      ...(clearOdds !== undefined && { clearOdds }),
      ...(hoursPerNight !== undefined && { hoursPerNight }),
      ...(minAltitudeDeg !== undefined && { minAltitudeDeg }),
      ...(sunBelowDeg !== undefined && { sunBelowDeg }),
    },
  };
}

/** The goal that the flags state; null when none does. */
function goalFor(values: Values, depth: FilterDepth, reference: readonly FilterDepth[]): Goal | null {
  const stated = (["goal-hours", "deeper", "like", "goal-snr"] as const).filter((flag) => values[flag] !== undefined);
  if (stated.length > 1) throw new CallError(`Give one goal, not --${stated.join(" and --")}`);
  const hours = numberFlag(values["goal-hours"], "goal-hours", 1e-6, 1e6);
  if (hours !== undefined) return { kind: "hours", hours };
  const factor = numberFlag(values.deeper, "deeper", 1e-3, 1000);
  if (factor !== undefined) return { kind: "deeper", factor };
  if (values.like !== undefined) {
    const same = reference.find(({ filter }) => filter === depth.filter);
    if (same === undefined) throw new CallError(`--like ${values.like} has no subs in filter '${depth.filter}'`);
    return { kind: "like", hours: same.effectiveS / 3600 };
  }
  const snr = numberFlag(values["goal-snr"], "goal-snr", 1e-3, 1e6);
  if (snr === undefined) return null;
  const surfaceMag = numberFlag(values["surface-mag"], "surface-mag", 5, 40);
  if (surfaceMag === undefined)
    throw new CallError("--goal-snr needs --surface-mag MAG, the brightness of the light in mag/arcsec2");
  const zeroPointMag = numberFlag(values["zero-point"], "zero-point", 0, 40);
  return { kind: "snr", snr, surfaceMag, ...(zeroPointMag !== undefined && { zeroPointMag }) };
}

function textOf({ depth, noise, plan }: Answer, values: Values): string {
  const { forecast } = plan;
  const hours = (s: number) => `${digits(s / 3600)} h`;
  const lines = [
    `${depth.target || "(no target)"}, ${depth.filter || "no filter"}: ${hours(depth.effectiveS)} effective of ${hours(depth.exposureS)} kept; ${depth.kept} of ${depth.subs} subs in ${depth.nights.length} night${depth.nights.length === 1 ? "" : "s"}`,
    `  yield: ${digits(100 * depth.yield, 2)} % of the clock time; signal over noise ${digits(depth.snrOfOneSub)} times that of one good sub (${digits(depth.snrEqualWeights)} with equal weights)`,
  ];
  const zeroPoint = numberFlag(values["zero-point"], "zero-point", 0, 40);
  if (zeroPoint !== undefined && noise !== null) {
    const limits = stackLimits(depth, noise, zeroPoint);
    lines.push(
      `  reached: stars of ${digits(limits.starMag, 4)} mag at 5 sigma; ${digits(limits.surfaceMag, 4)} mag/arcsec2 at 3 sigma over 10" x 10"`,
    );
  }
  const goalS = plan.goal?.effectiveS ?? null;
  if (goalS !== null) {
    lines.push(
      plan.leftS === 0
        ? `  goal: ${hours(goalS)}: reached`
        : `  goal: ${hours(goalS)}; still ${hours(plan.leftS)} effective, about ${digits(plan.clockHoursLeft)} h of clock time at the rate so far`,
    );
    if (plan.leftS > 0) lines.push(...untilDone(plan));
  }
  const { basis } = forecast;
  lines.push(
    `  rests on: ${basis.nights} night${basis.nights === 1 ? "" : "s"}, keep rate ${digits(100 * basis.keepRate, 2)} %, nights differing by ${digits(100 * basis.nightScatter, 2)} %${basis.assumedScatter ? " (mostly assumed: fewer than three nights)" : ""}; altitude above ${digits(plan.minAltitudeDeg)} degrees (${{ given: "given", "own-yield": "from your own yield", default: "usual" }[plan.altitudeFrom]})`,
  );
  if (plan.windows.length > 0) lines.push(...windowLines(plan.windows));
  return lines.join("\n");
}

function untilDone({ forecast, future, windows, bytesLeft, doneBy }: Remaining): string[] {
  const { nightsToGoal, goalOdds, subsToGoal } = forecast;
  const odds = `chance within ${future.length} nights: ${digits(100 * goalOdds!, 2)} %`;
  if (nightsToGoal!.p10 === Number.POSITIVE_INFINITY)
    return [`  not within the ${future.length} nights looked at; ${odds}`];
  const list = (values: Outlook) =>
    [values.p10, values.p50, values.p90].map((n) => (Number.isFinite(n) ? digits(Math.ceil(n), 6) : "more")).join(", ");
  const lines = [
    `  nights: ${list(nightsToGoal!)} (10, 50, 90 %); subs: ${list(subsToGoal!)}; space: ${bytesText(bytesLeft.p50)}; ${odds}`,
  ];
  if (windows.length > 0)
    lines.push(`  reached on the night of: ${[doneBy.p10, doneBy.p50, doneBy.p90].map(day).join(", ")} (10, 50, 90 %)`);
  return lines;
}

const noWindow: Readonly<Record<NoWindow, string>> = {
  "sun-stays-above": "it does not get dark enough",
  "target-never-rises": "the target never rises at this place",
  "target-stays-below-limit": "the target never reaches that altitude at this place",
  "target-not-up-while-dark": "the target is not up while it is dark",
};

function windowLines(windows: readonly NightWindow[]): string[] {
  const open = windows.filter(({ hours }) => hours > 0);
  if (open.length === 0) {
    const sun = Math.min(...windows.map(({ darkestSunDeg }) => darkestSunDeg));
    const [{ because }] = windows;
    return [
      `  no window in ${windows.length} nights: ${noWindow[because!]}${because === "sun-stays-above" ? ` (the Sun sinks to ${digits(sun)} degrees at most; --sun-below allows more)` : ""}`,
    ];
  }
  const shown = open.slice(0, 10);
  return [
    "  nights (UTC)        from    to      hours  worth  best       Moon lit  Moon up  nearest",
    ...shown.map(
      ({ noonMs, stretches, hours, effectiveHours, best, moonIllumination, moonUpHours, leastMoonSeparationDeg }) => {
        const ends = `${clock(stretches[0].startMs)}   ${clock(stretches[stretches.length - 1].endMs)}`;
        const nearest = Number.isNaN(leastMoonSeparationDeg) ? "-" : `${leastMoonSeparationDeg.toFixed(0)} deg`;
        const lit = `${(100 * moonIllumination).toFixed(0)} %`.padStart(8);
        return `    ${day(noonMs)}        ${ends}   ${hours.toFixed(1).padStart(5)}  ${effectiveHours.toFixed(1).padStart(5)}  ${clock(best!.startMs)}-${clock(best!.endMs)}  ${lit}  ${`${moonUpHours.toFixed(1)} h`.padStart(7)}  ${nearest.padStart(7)}`;
      },
    ),
    ...(open.length > shown.length ? [`    and ${open.length - shown.length} more; --ics FILE writes them all`] : []),
    "  Never point a telescope at or near the Sun; check the window on the spot.",
  ];
}

function writeCalendar(file: string, answers: readonly Answer[]): void {
  const events = answers.flatMap(({ depth, plan }) =>
    plan.windows.flatMap(({ best, moonIllumination }) =>
      (best === null ? [] : [best]).map(({ startMs, endMs, hours, effectiveHours }) => ({
        startMs,
        endMs,
        title: `${depth.target} ${depth.filter}`.trim(),
        description: `${digits(hours)} h, worth ${digits(effectiveHours)} h; Moon ${digits(100 * moonIllumination, 2)} % lit`,
        uid: `${[depth.target, depth.filter, new Date(startMs).toISOString().slice(0, 13)].join("-").replaceAll(/[^\w-]+/g, "_")}@nightyield`,
      })),
    ),
  );
  if (events.length === 0)
    throw new CallError("--ics needs windows: give --site LAT,LON, and --target where the name is not known");
  writeWhole(resolve(file), iCalendar(events, Date.now()));
}

/** What should be given for a better answer. */
function requests({ depth, plan, noise }: Answer, values: Values): string[] {
  const notes: string[] = [];
  if (plan.missing.includes("goal"))
    notes.push("no goal was given: --goal-hours H, --deeper FACTOR, --like DIR or --goal-snr N");
  if (plan.missing.includes("site")) notes.push("for dates and windows give --site LAT,LON");
  else if (plan.missing.includes("target"))
    notes.push(`'${depth.target}' is not in the table of deep-sky objects: give --target RA,DEC`);
  const missing: Extract<GoalSeconds, { effectiveS: null }>["missing"] =
    plan.goal?.effectiveS === null ? plan.goal.missing : [];
  if (missing.includes("zero-point"))
    notes.push("--goal-snr needs --zero-point MAG, the magnitude of a star that gives 1 e-/s");
  else if (missing.includes("pixel-scale"))
    notes.push(
      "--goal-snr needs the pixel scale, which the headers do not give: run triage with a --site-file that does",
    );
  else if (missing.length > 0)
    notes.push(`--goal-snr needs ${requestFor(noise?.missing ?? []) || "--gain E_PER_ADU and --read-noise E"}`);
  const cardGb = numberFlag(values["card-gb"], "card-gb", 0.001, 1e6);
  if (cardGb !== undefined && plan.bytesLeft.p50 > cardGb * 1e9)
    notes.push(
      `${depth.filter || "the filter"}: the subs still to take need ${bytesText(plan.bytesLeft.p50)}, the card has ${digits(cardGb)} GB`,
    );
  return notes;
}

const day = (ms: number | null) => (ms === null ? "later" : new Date(ms).toISOString().slice(0, 10));
const clock = (ms: number) => new Date(ms).toISOString().slice(11, 16);
const rowsFrom = (from: Int32Array, wanted: (table: number) => boolean) =>
  Array.from(from, (table, row) => (wanted(table) ? row : -1)).filter((row) => row >= 0);
