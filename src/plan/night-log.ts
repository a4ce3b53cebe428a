import type { FilterDepth } from "./depth.js";

/** What one night brought in one filter. */
export interface LogEntry {
  readonly subs: number;
  readonly kept: number;
  /** Exposures of the kept subs, s. */
  readonly keptExposureS: number;
  readonly effectiveS: number;
  /** Exposures of all subs and the pauses between them, s. */
  readonly clockS: number;
}

/** One line of the log. */
export interface LogNight {
  /** Start of the night, Unix milliseconds UTC; NaN for subs without a time. */
  readonly nightMs: number;
  /** In the order of the log's filters; null where the filter was not used. */
  readonly filters: readonly (LogEntry | null)[];
  readonly total: LogEntry;
  /** Effective integration by filter up to and with this night, s. */
  readonly effectiveSoFarS: readonly number[];
}

/** All nights of one target. */
export interface NightLog {
  readonly target: string;
  readonly filters: readonly string[];
  readonly nights: readonly LogNight[];
  readonly totals: readonly LogEntry[];
  readonly total: LogEntry;
  /** Goal by filter, s of effective integration; NaN without one. */
  readonly goalS: readonly number[];
  /** Part of the goal that is reached, may exceed 1; NaN without one. */
  readonly reached: readonly number[];
  /** Night (number in `nights`) on which each goal was reached; null: not yet, or no goal. */
  readonly reachedOn: readonly (number | null)[];
}

const nothing: LogEntry = { subs: 0, kept: 0, keptExposureS: 0, effectiveS: 0, clockS: 0 };
const added = (a: LogEntry, b: LogEntry): LogEntry => ({
  subs: a.subs + b.subs,
  kept: a.kept + b.kept,
  keptExposureS: a.keptExposureS + b.keptExposureS,
  effectiveS: a.effectiveS + b.effectiveS,
  clockS: a.clockS + b.clockS,
});
const sumOf = (entries: readonly (LogEntry | null)[]): LogEntry =>
  entries.reduce<LogEntry>((sum, entry) => (entry === null ? sum : added(sum, entry)), nothing);

/**
 * Every target's nights with totals by filter and night, and how far each filter has come to its goal.
 * @param depths - as `depthReached` gives them
 * @param goalOf - effective integration that is wanted, s; NaN: no goal
 * @example
 * ```ts
 * import { depthReached, nightLogs } from "nightyield";
 * // A goal of three hours in every filter.
 * for (const { target, nights, reached } of nightLogs(depthReached(table), () => 3 * 3600)) console.log(target, nights.length, reached);
 * ```
 */
export function nightLogs(
  depths: readonly FilterDepth[],
  goalOf: (depth: FilterDepth) => number = () => Number.NaN,
): NightLog[] {
  const targets = new Map<string, FilterDepth[]>();
  for (const depth of depths) {
    const key = depth.target.trim().toLowerCase();
    targets.set(key, [...(targets.get(key) ?? []), depth]);
  }
  return [...targets.values()].map((of) => logOf(of, goalOf));
}

function logOf(depths: readonly FilterDepth[], goalOf: (depth: FilterDepth) => number): NightLog {
  const starts = [...new Set(depths.flatMap(({ nights }) => nights.map(({ firstMs }) => firstMs)))];
  // Subs without a time come last.
  starts.sort((a, b) => (Number.isNaN(a) ? 1 : Number.isNaN(b) ? -1 : a - b));
  const soFar = depths.map(() => 0);
  const nights = starts.map((nightMs): LogNight => {
    const filters = depths.map(({ nights: own }) => {
      const same = own.filter((night) => Object.is(night.firstMs, nightMs));
      return same.length === 0 ? null : sumOf(same);
    });
    for (const [i, entry] of filters.entries()) soFar[i] += entry?.effectiveS ?? 0;
    return { nightMs, filters, total: sumOf(filters), effectiveSoFarS: [...soFar] };
  });
  const totals = depths.map(({ nights: own }) => sumOf(own));
  const goalS = depths.map(goalOf);
  return {
    target: depths[0].target,
    filters: depths.map(({ filter }) => filter),
    nights,
    totals,
    total: sumOf(totals),
    goalS,
    reached: totals.map(({ effectiveS }, i) => effectiveS / goalS[i]),
    reachedOn: goalS.map((goal, i) => {
      const night = nights.findIndex(({ effectiveSoFarS }) => effectiveSoFarS[i] >= goal);
      return night < 0 ? null : night;
    }),
  };
}
