import type { Site, Target } from "../sky/site.js";
import type { SkyModel } from "../sky/sky-brightness.js";
import { conditionsOf } from "../sky/sky-column.js";
import type { FrameTable } from "../terms/frame-table.js";
import { bytesOfSub } from "./card-space.js";
import type { FilterDepth, NightYield } from "./depth.js";
import { type Forecast, type FutureNight, forecast } from "./forecast.js";
import { type Goal, type GoalSeconds, goalSeconds } from "./goal.js";
import { overheadOf } from "./nights.js";
import type { NoiseModel } from "./noise-model.js";
import { altitudeYield, relativeRate } from "./relative-rate.js";
import { comingNights, type NightWindow, type TargetPath, targetPath } from "./windows.js";

/** What the plan may be told. */
export interface RemainingOptions {
  readonly goal?: Goal;
  readonly noise?: NoiseModel | null;
  /** Both are needed for dates; without them nights like the past ones are counted. */
  readonly site?: Site;
  readonly target?: Target;
  /** First night, Unix milliseconds UTC. */
  readonly fromMs?: number;
  /** How far to look, nights; 90 when left out. */
  readonly nights?: number;
  /** Degrees; where the user's own yield falls below half of the best, or 30, when left out. */
  readonly minAltitudeDeg?: number;
  readonly sunBelowDeg?: number;
  /** Chance that a night can be used, 0 to 1; 1 when left out. */
  readonly clearOdds?: number;
  /** Most hours of capture a night; the whole window when left out. */
  readonly hoursPerNight?: number;
  readonly sky?: SkyModel;
  readonly seed?: number;
}

/** How much more of one filter. */
export interface Remaining {
  readonly goal: GoalSeconds | null;
  readonly forecast: Forecast;
  /** Coming nights; empty without site and target. */
  readonly windows: readonly NightWindow[];
  readonly future: readonly FutureNight[];
  /** How high the target gets at the site; null without either. */
  readonly path: TargetPath | null;
  /** Effective integration still missing, s; 0 when the goal is reached, NaN without one. */
  readonly leftS: number;
  /** Clock hours that takes at the rate so far; NaN without a goal. */
  readonly clockHoursLeft: number;
  /** Bytes of the subs still to take (10, 50, 90 %); NaN without a goal. */
  readonly bytesLeft: { readonly p10: number; readonly p50: number; readonly p90: number };
  /**
   * Noon before the night on which the goal is reached with a chance of 10, 50, 90 %; null: not known or not within
   * the nights looked at.
   */
  readonly doneBy: { readonly p10: number | null; readonly p50: number | null; readonly p90: number | null };
  readonly minAltitudeDeg: number;
  readonly altitudeFrom: "given" | "own-yield" | "default";
  readonly missing: readonly ("site" | "target" | "goal")[];
}

/**
 * What is still needed in one filter, and by when. Past nights are put on equal terms by what altitude and Moon did to
 * them; coming nights get theirs from the sky.
 * @throws CallError when a limit makes no sense, or nothing was kept so far
 * @example
 * ```ts
 * import { depthReached, remainingOf } from "nightyield";
 * const [depth] = depthReached(table);
 * const { leftS, forecast } = remainingOf(table, depth, { goal: { kind: "hours", hours: 12 }, clearOdds: 0.35 });
 * console.log(leftS / 3600, forecast.nightsToGoal);
 * ```
 */
export function remainingOf(table: FrameTable, depth: FilterDepth, options: RemainingOptions = {}): Remaining {
  const { goal, noise = null, site, target, clearOdds = 1, sky } = options;
  const aim = goal === undefined ? null : goalSeconds(goal, depth, noise);
  const goalS = aim?.effectiveS ?? Number.NaN;
  const own = altitudeYield(table, depth.rows).paysAboveDeg;
  const minAltitudeDeg = options.minAltitudeDeg ?? (Number.isFinite(own) ? Math.max(10, own) : 30);
  const rate =
    sky === undefined ? undefined : { sky, readShare: noise !== null && noise.readShare >= 0 ? noise.readShare : 0 };
  const past = depth.nights.map((night) => ({
    subs: night.subs,
    kept: night.kept,
    effectiveS: night.effectiveS,
    exposureS: night.exposureS,
    conditions: rate === undefined ? 1 : pastConditions(table, night, rate),
  }));
  const overheadS = overheadOf(table, depth.rows).overheadS || 0;
  const exposureS = depth.nights[depth.nights.length - 1].exposureS;
  const nights = options.nights ?? 90;
  const windows =
    site === undefined || target === undefined
      ? []
      : comingNights({
          site,
          target,
          fromMs: options.fromMs ?? lastMs(depth),
          nights,
          minAltitudeDeg,
          ...(options.sunBelowDeg !== undefined && { sunBelowDeg: options.sunBelowDeg }),
          ...(rate !== undefined && { rate }),
          ...(options.hoursPerNight !== undefined && { hoursPerNight: options.hoursPerNight }),
        });
  const usualSubs = Math.round(depth.subs / depth.nights.length);
  const future: FutureNight[] =
    windows.length === 0
      ? Array.from({ length: nights }, () => ({
          subs: usualSubs,
          exposureS,
          clearOdds,
          conditions: meanOf(past.map((p) => p.conditions)),
        }))
      : windows.map(({ best }) => ({
          subs: Math.floor(((best?.hours ?? 0) * 3600) / (exposureS + overheadS)),
          exposureS,
          clearOdds,
          conditions: best === null ? 1 : best.effectiveHours / best.hours,
        }));
  const outlook = forecast(past, future, {
    ...(Number.isFinite(goalS) && { goalS }),
    ...(options.seed !== undefined && { seed: options.seed }),
  });
  const leftS = Math.max(0, goalS - depth.effectiveS);
  const first = depth.rows[0];
  const bytes = bytesOfSub(table.width[first], table.height[first]);
  const { subsToGoal, nightsToGoal } = outlook;
  const dayOf = (count: number | undefined) =>
    count === undefined || windows.length === 0 || !(count >= 1 && Number.isFinite(count))
      ? null
      : windows[Math.ceil(count) - 1].noonMs;
  return {
    goal: aim,
    forecast: outlook,
    windows,
    future,
    path: site === undefined || target === undefined ? null : targetPath(site, target),
    leftS,
    clockHoursLeft: leftS / depth.yield / 3600,
    bytesLeft: {
      p10: (subsToGoal?.p10 ?? Number.NaN) * bytes,
      p50: (subsToGoal?.p50 ?? Number.NaN) * bytes,
      p90: (subsToGoal?.p90 ?? Number.NaN) * bytes,
    },
    doneBy: { p10: dayOf(nightsToGoal?.p10), p50: dayOf(nightsToGoal?.p50), p90: dayOf(nightsToGoal?.p90) },
    minAltitudeDeg,
    altitudeFrom: options.minAltitudeDeg !== undefined ? "given" : Number.isFinite(own) ? "own-yield" : "default",
    missing: [
      ...(site === undefined ? (["site"] as const) : []),
      ...(target === undefined ? (["target"] as const) : []),
      ...(goal === undefined ? (["goal"] as const) : []),
    ],
  };
}

/** What altitude and Moon did on average to a night that was; 1 where its subs are not placed. */
function pastConditions(table: FrameTable, night: NightYield, rate: Parameters<typeof relativeRate>[1]): number {
  const rates = night.rows
    .map((row) => relativeRate({ ...conditionsOf(table, row), airmass: table.airmass[row] }, rate))
    .filter((r) => r > 0);
  return rates.length === 0 ? 1 : meanOf(rates);
}

const meanOf = (values: readonly number[]) => values.reduce((sum, v) => sum + v, 0) / values.length;

function lastMs(depth: FilterDepth): number {
  const times = depth.nights.map(({ firstMs }) => firstMs).filter(Number.isFinite);
  return (times.length === 0 ? 0 : Math.max(...times)) + 86_400_000;
}
