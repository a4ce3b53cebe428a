import type { FilterDepth } from "../plan/depth.js";
import type { Goal } from "../plan/goal.js";
import { extinctionAtHeight } from "../sky/extinction.js";
import { findObject } from "../sky/find-object.js";
import type { Site, Target } from "../sky/site.js";
import { CallError } from "../terms/errors.js";
import { wholeNumber } from "./command.js";
import { givenFrom } from "./night-flags.js";
import { cameraFlags, numberFlag } from "./plan-tables.js";

export const remainingUsage =
  "remaining DIR... [--goal-hours H | --deeper FACTOR | --like DIR | --goal-snr N --surface-mag MAG] [--zero-point MAG | --stars CSV --stars-sub FITS] [--site LAT,LON[,HEIGHT_M]] [--target NAME|RA,DEC] [--filter NAME] [--clear-odds P] [--ics FILE] [--json]";
export const remainingOptions = {
  ...cameraFlags,
  site: { type: "string" },
  target: { type: "string" },
  "goal-hours": { type: "string" },
  deeper: { type: "string" },
  like: { type: "string" },
  "goal-snr": { type: "string" },
  "surface-mag": { type: "string" },
  "zero-point": { type: "string" },
  stars: { type: "string" },
  "stars-sub": { type: "string" },
  "align-exposure": { type: "string" },
  "narrowband-nm": { type: "string" },
  "clear-odds": { type: "string" },
  from: { type: "string" },
  nights: { type: "string" },
  hours: { type: "string" },
  "min-altitude": { type: "string" },
  "sun-below": { type: "string" },
  "dark-zenith": { type: "string" },
  ics: { type: "string" },
} as const;
/** The flags of nightyield remaining. */
export type RemainingFlags = { readonly [K in Exclude<keyof typeof remainingOptions, "json">]?: string } & {
  readonly json?: boolean;
};

/** Targets are told apart by name, without case. */
export const sameTarget = (a: string, b: string) => a.trim().toLowerCase() === b.trim().toLowerCase();

/**
 * Site, target and limits that the flags give.
 * @param stored - the place that the triage results remember, for when no flag gives one
 */
export function askedFrom(values: RemainingFlags, stored: Site | null = null) {
  const [told] = givenFrom({ site: values.site, target: values.target }).given ?? [];
  const { latitudeDeg, longitudeDeg, heightM = 0, raDeg, decDeg, target: name } = told?.values ?? {};
  const site: Site | null =
    latitudeDeg === undefined || longitudeDeg === undefined ? stored : { latitudeDeg, longitudeDeg, heightM };
  const named = name === undefined ? null : findObject(name);
  if (name !== undefined && named === null)
    throw new CallError(
      `--target '${name}' is not in the table of deep-sky objects; give RA,DEC like 83.82,-5.39 or 05:35:17,-05:23:28`,
    );
  const target: Target | null = raDeg === undefined || decDeg === undefined ? named : { raDeg, decDeg };
  const fromMs = values.from === undefined ? Date.now() : Date.parse(`${values.from}T18:00:00Z`);
  if (Number.isNaN(fromMs)) throw new CallError(`--from is '${values.from}', expected a date like 2026-03-14`);
  const number = (flag: keyof RemainingFlags & string, low: number, high: number) =>
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

/** The stack to be like: of the same filter, of the same target where there is one; null: none in this filter. */
export function referenceFor(depth: FilterDepth, reference: readonly FilterDepth[]): FilterDepth | null {
  const alike = reference.filter(({ filter, kept }) => filter === depth.filter && kept > 0);
  return alike.find(({ target }) => sameTarget(target, depth.target)) ?? alike[0] ?? null;
}

/** What a goal may rest on besides the flags. */
export interface GoalBasis {
  /** What the stack of --like reached. */
  readonly reference: readonly FilterDepth[];
  readonly zeroPointMag: number | undefined;
  /** What an effective second of another target is worth here. */
  readonly scaleOf: (reference: FilterDepth) => number;
}

/** The goal that the flags state; null when none does. */
export function goalFor(
  values: RemainingFlags,
  depth: FilterDepth,
  { reference, zeroPointMag, scaleOf }: GoalBasis,
): Goal | null {
  const stated = (["goal-hours", "deeper", "like", "goal-snr"] as const).filter((flag) => values[flag] !== undefined);
  if (stated.length > 1) throw new CallError(`Give one goal, not --${stated.join(" and --")}`);
  const hours = numberFlag(values["goal-hours"], "goal-hours", 1e-6, 1e6);
  if (hours !== undefined) return { kind: "hours", hours };
  const factor = numberFlag(values.deeper, "deeper", 1e-3, 1000);
  if (factor !== undefined) return { kind: "deeper", factor };
  if (values.like !== undefined) {
    const same = referenceFor(depth, reference);
    if (same === null) return null;
    const hours = same.effectiveS / 3600;
    if (sameTarget(same.target, depth.target)) return { kind: "like", hours };
    return { kind: "like", hours: hours * scaleOf(same), reference: { target: same.target, hours } };
  }
  const snr = numberFlag(values["goal-snr"], "goal-snr", 1e-3, 1e6);
  if (snr === undefined) return null;
  const surfaceMag = numberFlag(values["surface-mag"], "surface-mag", 5, 40);
  if (surfaceMag === undefined)
    throw new CallError("--goal-snr needs --surface-mag MAG, the brightness of the light in mag/arcsec2");
  return { kind: "snr", snr, surfaceMag, ...(zeroPointMag !== undefined && { zeroPointMag }) };
}
