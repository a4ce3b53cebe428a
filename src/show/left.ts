import { depthReached, type FilterDepth } from "../plan/depth.js";
import type { Outlook } from "../plan/forecast.js";
import { nightsOf, overheadOf } from "../plan/nights.js";
import { type Remaining, remainingOf } from "../plan/remaining.js";
import { extinctionAtHeight } from "../sky/extinction.js";
import { findObject } from "../sky/find-object.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { NightResult } from "./night-result.js";

/** Steps that are shown: nobody has said how deep the stack is to be, so these stand for any wish. */
export const deeperFactors = [1.5, 2] as const;
/** Targets and filters with the most integration; more would make a report wait. */
const mostFilters = 8;
const mostTargets = 3;
const calendarNights = 30;
const mostNights = 120;
/** Assumed for what Moon and altitude cost; the report says so. */
export const assumedZenithMag = 20;

/** What it takes to go deeper by a factor of signal over noise. */
export interface DeeperStep {
  readonly factor: number;
  /** More open shutter and the pauses between subs, s; Infinity: more than `nightsAhead` nights like those so far. */
  readonly clockS: Outlook;
  /** More nights like those so far that can be used. */
  readonly nights: Outlook;
  /** Of plain 16-bit files. */
  readonly bytes: Outlook;
  /** Nights that were looked ahead. */
  readonly nightsAhead: number;
}

/** One target and filter: what there is, and what more of it takes. */
export interface FilterLeft {
  readonly depth: FilterDepth;
  readonly steps: readonly DeeperStep[];
  /** Nights are too few to tell how much they differ. */
  readonly assumedScatter: boolean;
}

/** When a target can be taken. */
export interface TargetCalendar {
  readonly target: string;
  /** Of the filter with the most integration. */
  readonly filter: string;
  readonly plan: Remaining;
}

/** How much is left of a night's targets. */
export interface Left {
  readonly filters: readonly FilterLeft[];
  /** Targets and filters of which nothing is kept. */
  readonly nothingKept: readonly FilterDepth[];
  /** Filters that are not worked out, as there are so many. */
  readonly notShown: number;
  /** Empty where the place or the target's is not known. */
  readonly calendars: readonly TargetCalendar[];
}

/**
 * What there is of each target and filter and what going deeper would take, from the plan. The place is rounded to a
 * tenth of a degree first: dates and hours of darkness shall not show where the garden is.
 */
export function leftOf(night: Pick<NightResult, "table" | "site" | "setups">): Left {
  const { table } = night;
  const all = depthReached(table);
  const kept = all.filter(({ kept, effectiveS }) => kept > 0 && effectiveS > 0);
  const shown = new Set([...kept].sort((a, b) => b.effectiveS - a.effectiveS).slice(0, mostFilters));
  return {
    filters: kept.filter((depth) => shown.has(depth)).map((depth) => filterLeft(table, depth)),
    nothingKept: all.filter((depth) => !kept.includes(depth)),
    notShown: kept.length - shown.size,
    calendars: calendarsOf(night, [...shown]),
  };
}

function filterLeft(table: FrameTable, depth: FilterDepth): FilterLeft {
  const overheadS = overheadOf(table, depth.rows).overheadS || 0;
  const perSubS = depth.nights.at(-1)!.exposureS + overheadS;
  let assumedScatter = false;
  const steps = deeperFactors.map((factor): DeeperStep => {
    const needed = (factor ** 2 - 1) * depth.nights.length;
    const nights = Math.min(mostNights, Math.ceil(1.5 * needed) + 5);
    const { forecast, bytesLeft } = remainingOf(table, depth, { goal: { kind: "deeper", factor }, nights });
    assumedScatter = forecast.basis.assumedScatter;
    const subs = forecast.subsToGoal!;
    const clockS = { p10: subs.p10 * perSubS, p50: subs.p50 * perSubS, p90: subs.p90 * perSubS };
    return { factor, clockS, nights: forecast.nightsToGoal!, bytes: bytesLeft, nightsAhead: nights };
  });
  return { depth, steps, assumedScatter };
}

function calendarsOf(
  { table, site, setups = [] }: Pick<NightResult, "table" | "site" | "setups">,
  depths: readonly FilterDepth[],
): TargetCalendar[] {
  if (site === null) return [];
  const tenth = (deg: number) => Math.round(10 * deg) / 10;
  const near = { latitudeDeg: tenth(site.latitudeDeg), longitudeDeg: tenth(site.longitudeDeg), heightM: 0 };
  const starts = nightsOf(table).map(({ firstMs }) => firstMs);
  const lastMs = Math.max(...starts.filter(Number.isFinite));
  if (!Number.isFinite(lastMs)) return [];
  const seen = new Set<string>();
  const calendars: TargetCalendar[] = [];
  for (const depth of depths) {
    const key = depth.target.trim().toLowerCase();
    // Where the telescope pointed, or where an object of that name is.
    const place = setups.find(({ target, place }) => place !== null && target.trim().toLowerCase() === key)?.place;
    const target = place ?? findObject(depth.target);
    if (seen.has(key) || target === null || calendars.length === mostTargets) continue;
    seen.add(key);
    const plan = remainingOf(table, depth, {
      goal: { kind: "deeper", factor: 2 },
      nights: calendarNights,
      // The night after the last of the table, whatever was photographed then.
      fromMs: lastMs + 86_400_000,
      site: near,
      target,
      sky: { darkZenithMag: assumedZenithMag, extinctionMagPerAirmass: extinctionAtHeight(0) },
    });
    calendars.push({ target: depth.target, filter: depth.filter, plan });
  }
  return calendars;
}
