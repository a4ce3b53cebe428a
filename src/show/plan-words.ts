import type { FilterDepth, StackLimits } from "../plan/depth.js";
import type { Outlook } from "../plan/forecast.js";
import type { Goal } from "../plan/goal.js";
import type { NightLog } from "../plan/night-log.js";
import type { Remaining } from "../plan/remaining.js";
import type { Site } from "../sky/site.js";
import { bytesText, columnsText, digits } from "./digits.js";
import { windowLines } from "./window-words.js";

/** Depth and plan of one target and filter. */
export interface RemainingAnswer {
  readonly depth: FilterDepth;
  readonly plan: Remaining;
  /** As the user stated it; null without one. */
  readonly goal: Goal | null;
  /** Where a zero point is known. */
  readonly limits: StackLimits | null;
}

const hours = (s: number) => `${digits(s / 3600)} h`;
const nightsText = (n: number) => `${n} night${n === 1 ? "" : "s"}`;
export const filterName = (filter: string) => filter || "no filter";

/**
 * How deep one filter is, what is missing to the goal, and when it can be taken; one fact a line.
 * @example
 * ```ts
 * import { depthReached, remainingOf, remainingText } from "nightyield";
 * const goal = { kind: "deeper", factor: 2 } as const;
 * for (const depth of depthReached(table).filter(({ kept }) => kept > 0))
 *   console.log(remainingText({ depth, plan: remainingOf(table, depth, { goal }), goal, limits: null }));
 * ```
 */
export function remainingText({ depth, plan, goal, limits }: RemainingAnswer): string {
  const lines = [
    `${depth.target || "(no target)"}, ${filterName(depth.filter)}: ${hours(depth.effectiveS)} effective of ${hours(depth.exposureS)} kept; ${depth.kept} of ${depth.subs} subs in ${nightsText(depth.nights.length)}`,
    `  yield: ${digits(100 * depth.yield, 2)} % of the clock time; signal over noise ${digits(depth.snrOfOneSub)} times that of one good sub (${digits(depth.snrEqualWeights)} with equal weights)`,
  ];
  if (limits !== null)
    lines.push(
      `  reached: stars of ${digits(limits.starMag, 4)} mag at 5 sigma; ${digits(limits.surfaceMag, 4)} mag/arcsec2 at 3 sigma over 10" x 10"`,
    );
  lines.push(...goalLines(plan, goal));
  const { basis } = plan.forecast;
  lines.push(
    `  rests on: ${nightsText(basis.nights)}, keep rate ${digits(100 * basis.keepRate, 2)} %, nights differing by ${digits(100 * basis.nightScatter, 2)} %${basis.assumedScatter ? " (mostly assumed: fewer than three nights; where nights differ by more, the ranges are too narrow)" : ""}; altitude above ${digits(plan.minAltitudeDeg)} degrees (${{ given: "given", "own-yield": "from your own yield", default: "usual" }[plan.altitudeFrom]})`,
  );
  if (plan.windows.length > 0) lines.push(...windowLines(plan));
  return lines.join("\n");
}

/** The goal in the user's own terms. */
export function goalWords(goal: Goal): string {
  switch (goal.kind) {
    case "hours":
      return "effective integration";
    case "deeper":
      return `${digits(goal.factor)} times the signal over noise of now, which takes ${digits(goal.factor ** 2)} times the integration`;
    case "snr":
      return `signal over noise ${digits(goal.snr)} ${goal.areaArcsec2 === undefined ? "a pixel" : `over ${digits(goal.areaArcsec2)} arcsec2`} on ${digits(goal.surfaceMag, 4)} mag/arcsec2`;
    case "like":
      return goal.reference === undefined
        ? "as deep as the reference stack"
        : `as deep as the stack of ${goal.reference.target || "(no target)"}: its ${digits(goal.reference.hours)} h are worth so much here, by the noise and airmass of the best subs`;
    default:
      return goal satisfies never;
  }
}

function goalLines(plan: Remaining, goal: Goal | null): string[] {
  const goalS = plan.goal?.effectiveS ?? null;
  if (goalS === null || goal === null) return [];
  const stated = `  goal: ${hours(goalS)} (${goalWords(goal)})`;
  if (plan.leftS === 0) return [`${stated}: reached`];
  return [
    `${stated}; still ${hours(plan.leftS)} effective, about ${digits(plan.clockHoursLeft)} h of clock time at the rate so far`,
    ...untilDone(plan),
  ];
}

function untilDone({ forecast, future, windows, bytesLeft, doneBy }: Remaining): string[] {
  const { nightsToGoal, goalOdds, subsToGoal } = forecast;
  const odds = `chance within ${nightsText(future.length)}: ${digits(100 * goalOdds!, 2)} %`;
  if (nightsToGoal!.p10 === Number.POSITIVE_INFINITY)
    return [`  not within the ${nightsText(future.length)} looked at; ${odds}`];
  const list = (values: Outlook) =>
    [values.p10, values.p50, values.p90].map((n) => (Number.isFinite(n) ? digits(Math.ceil(n), 6) : "more")).join(", ");
  const space = Number.isNaN(bytesLeft.p50) ? "not known" : bytesText(bytesLeft.p50);
  const lines = [
    `  nights: ${list(nightsToGoal!)} (10, 50, 90 %); subs: ${list(subsToGoal!)}; space: ${space.replace("without end", "more than these nights bring")}; ${odds}`,
  ];
  if (windows.length > 0)
    lines.push(
      `  reached on the night of: ${[doneBy.p10, doneBy.p50, doneBy.p90].map((ms) => (ms === null ? "later" : dateText(ms))).join(", ")} (10, 50, 90 %)`,
    );
  return lines;
}

/** The observer's place to a tenth of a degree, as `48.2 N, 16.4 E`. */
export function siteText({ latitudeDeg, longitudeDeg }: Site): string {
  const east = longitudeDeg > 180 ? longitudeDeg - 360 : longitudeDeg;
  const half = (deg: number, positive: string, negative: string) =>
    `${Math.abs(deg).toFixed(1)} ${deg < 0 ? negative : positive}`;
  return `${half(latitudeDeg, "N", "S")}, ${half(east, "E", "W")}`;
}

/** Date of an instant, UTC. */
export const dateText = (ms: number): string => new Date(ms).toISOString().slice(0, 10);

/**
 * The date of the evening on which a night began.
 * @param longitudeDeg - of the site; without it a night is named by the UTC date of its first sub
 */
export function eveningOf(nightMs: number, longitudeDeg?: number): string {
  if (Number.isNaN(nightMs)) return "no time";
  return dateText(longitudeDeg === undefined ? nightMs : nightMs + (longitudeDeg / 15 - 12) * 3_600_000);
}

/**
 * A target's nights as a table: effective of kept hours by night and filter, totals, and how far the goals are.
 * @example
 * ```ts
 * import { depthReached, nightLogs, nightLogText } from "nightyield";
 * for (const log of nightLogs(depthReached(table))) console.log(nightLogText(log, 16.4));
 * ```
 */
export function nightLogText(log: NightLog, longitudeDeg?: number): string {
  const h = (s: number) => (s / 3600).toFixed(2);
  const cell = (entry: NightLog["total"] | null) =>
    entry === null ? "-" : `${h(entry.effectiveS)} of ${h(entry.keptExposureS)}`;
  const several = log.filters.length > 1;
  const all = (text: string) => (several ? [text] : []);
  const subs = ({ kept, subs: taken }: NightLog["total"]) => `${kept} of ${taken}`;
  const rows = [
    ["night", ...log.filters.map(filterName), ...all("all"), "subs kept"],
    ...log.nights.map(({ nightMs, filters, total }) => [
      eveningOf(nightMs, longitudeDeg),
      ...filters.map(cell),
      ...all(cell(total)),
      subs(total),
    ]),
  ];
  if (log.nights.length > 1) rows.push(["total", ...log.totals.map(cell), ...all(cell(log.total)), subs(log.total)]);
  if (log.goalS.some((goal) => goal > 0)) {
    const goal = (i: number) =>
      log.goalS[i] > 0 ? `${Math.floor(100 * log.reached[i])} % of ${h(log.goalS[i])}` : "-";
    rows.push(["goal", ...log.filters.map((_, i) => goal(i)), ...all(""), ""]);
  }
  return [
    `${log.target || "(no target)"}: ${nightsText(log.nights.length)}, effective of kept hours`,
    ...columnsText(rows).map((line) => `  ${line}`),
  ].join("\n");
}
