import { median, quantile } from "../numbers/quantiles.js";
import { findObject } from "../sky/find-object.js";
import type { ObjectKind } from "../sky/objects.js";
import type { FrameTable } from "../terms/frame-table.js";
import { depthReached, type FilterDepth } from "./depth.js";
import { type Band, bandFor, bandOf, lightOf, type ObjectLight, widthOf } from "./filter-bands.js";
import { isKept } from "./nights.js";
import { type NoiseModel, noiseModels } from "./noise-model.js";

/** One filter that a target was taken in. */
export interface FilterUse {
  readonly filter: string;
  readonly filterKind: string;
  readonly band: Band | null;
  readonly kept: number;
  readonly effectiveS: number;
  /** True: the usual choice for this kind of object; null: object or filter is not known. */
  readonly fits: boolean | null;
  /** Growth of the background's variance a second, read noise included, in the unit of `varianceUnit`; a median. */
  readonly varianceRate: number;
  readonly varianceUnit: "e" | "adu";
  readonly quartiles: { readonly low: number; readonly high: number };
  /** Sky and dark alone, e-/s/px; NaN where it cannot be told. */
  readonly backgroundEPerS: number;
  /** Part of the kept subs with the Moon above the horizon; NaN where they are not placed. */
  readonly moonUpShare: number;
}

/** How much longer one filter takes than another for the same signal over noise on the object's light. */
export interface FilterComparison {
  /** The filter that takes longer by usual practice. */
  readonly slow: string;
  /** The other: measured, or null where none of that band was used. */
  readonly fast: string | null;
  readonly fastBand: Band;
  /** Time in `slow` over time in `fast`. Below 1 the usual practice does not hold here. */
  readonly timeFactor: number;
  readonly low: number;
  readonly high: number;
  readonly basis: "measured" | "bandwidths";
  /** Read noise or sky are not known apart: then the number is a bound. */
  readonly bound: "at-least" | "at-most" | null;
  /** Band widths that were assumed or given, nm; null when both skies were measured. */
  readonly widthsNm: { readonly slow: number; readonly fast: number; readonly fastAssumed: boolean } | null;
}

export type FilterWarning =
  /** None of the filters used is the usual choice. */
  | { readonly code: "filter-does-not-fit"; readonly filter: string; readonly band: Band; readonly wanted: Band }
  | { readonly code: "filter-not-known"; readonly filter: string }
  | { readonly code: "object-not-known" };

/** Which band suits a target, and what the choice is worth under the measured sky. */
export interface FilterAdvice {
  readonly target: string;
  /** The object's usual name; null when it is not in the table of objects. */
  readonly object: string | null;
  readonly kind: ObjectKind | null;
  readonly light: ObjectLight | null;
  readonly wanted: Band | null;
  /** Median of the modelled sky at the kept subs, mag/arcsec2; NaN where it is not known. */
  readonly skyMagArcsec2: number;
  readonly used: readonly FilterUse[];
  readonly comparison: FilterComparison | null;
  readonly warnings: readonly FilterWarning[];
}

export interface FilterAdviceOptions {
  readonly models?: readonly NoiseModel[];
  /** Name of the object, where the table's target says something else. */
  readonly objectName?: string;
  /** Width of the user's narrowband filter, nm. */
  readonly narrowNm?: number;
}

/**
 * Filter advice for every target of a graded table: kind of object against filter band (common practice, no source), sized
 * by the sky that was measured in each filter, or by band widths where only one was used.
 *
 * Light in lines passes both filters alike, so the times go as the variances of the background. Light of all colours is
 * dimmed by a narrow filter as the sky is: times go as variance over light squared.
 * @example
 * ```ts
 * import { filterAdvice, filterAdviceText } from "nightyield";
 * for (const advice of filterAdvice(table)) console.log(advice.wanted, filterAdviceText(advice));
 * ```
 */
export function filterAdvice(table: FrameTable, options: FilterAdviceOptions = {}): FilterAdvice[] {
  const models = options.models ?? noiseModels(table);
  const targets = new Map<string, FilterDepth[]>();
  for (const depth of depthReached(table)) {
    const key = depth.target.trim().toLowerCase();
    targets.set(key, [...(targets.get(key) ?? []), depth]);
  }
  return [...targets.values()].map((depths) => adviceFor(table, depths, models, options));
}

function adviceFor(
  table: FrameTable,
  depths: readonly FilterDepth[],
  models: readonly NoiseModel[],
  { objectName, narrowNm }: FilterAdviceOptions,
): FilterAdvice {
  const [{ target }] = depths;
  const object = findObject(objectName ?? target);
  const light = object === null ? null : lightOf(object.kind);
  const wanted = light === null ? null : bandFor(light);
  const used = depths
    .filter(({ kept }) => kept > 0)
    .map((depth) => useOf(table, depth, models.find(({ filter }) => filter === depth.filter) ?? null, wanted))
    .sort((a, b) => b.effectiveS - a.effectiveS);
  const kept = depths.flatMap(({ rows }) => rows.filter((row) => isKept(table, row)));
  return {
    target,
    object: object?.name ?? null,
    kind: object?.kind ?? null,
    light,
    wanted,
    skyMagArcsec2: median(kept.map((row) => table.skyMagArcsec2[row])),
    used,
    comparison: light === null ? null : comparisonOf(light, used, models, narrowNm),
    warnings: warningsOf(used, wanted),
  };
}

function useOf(table: FrameTable, depth: FilterDepth, noise: NoiseModel | null, wanted: Band | null): FilterUse {
  const rows = depth.rows.filter((row) => isKept(table, row));
  const gain = noise?.electronsPerAdu?.value ?? Number.NaN;
  const perAdu2 = Number.isFinite(gain) ? gain ** 2 : 1;
  const rates = rows.map((row) => (perAdu2 * table.noiseAdu[row] ** 2) / table.exposureS[row]);
  const placed = rows.filter((row) => Number.isFinite(table.moonAltitudeDeg[row]));
  const band = bandOf(depth.filterKind);
  return {
    filter: depth.filter,
    filterKind: depth.filterKind,
    band,
    kept: depth.kept,
    effectiveS: depth.effectiveS,
    fits: band === null || wanted === null ? null : band === wanted,
    varianceRate: median(rates),
    varianceUnit: Number.isFinite(gain) ? "e" : "adu",
    quartiles: { low: quantile(rates, 0.25), high: quantile(rates, 0.75) },
    backgroundEPerS: noise?.backgroundEPerS ?? Number.NaN,
    moonUpShare: placed.filter((row) => table.moonAltitudeDeg[row] > 0).length / placed.length,
  };
}

function warningsOf(used: readonly FilterUse[], wanted: Band | null): FilterWarning[] {
  const warnings: FilterWarning[] = used.flatMap(({ filter, band }) =>
    band === null ? [{ code: "filter-not-known", filter } as const] : [],
  );
  if (wanted === null) return [{ code: "object-not-known" }, ...warnings];
  // A broadband filter beside a narrowband one is a choice (the stars' colours); alone it is a mismatch.
  if (!used.some(({ fits }) => fits !== false))
    for (const { filter, band } of used)
      if (band !== null) warnings.push({ code: "filter-does-not-fit", filter, band, wanted });
  return warnings;
}

function comparisonOf(
  light: ObjectLight,
  used: readonly FilterUse[],
  models: readonly NoiseModel[],
  narrowNm: number | undefined,
): FilterComparison | null {
  const slow = used.find(({ fits, varianceRate }) => fits === false && varianceRate > 0);
  if (slow === undefined) return null;
  const gainOf = (filter: string) => models.find((model) => model.filter === filter)?.gainSetting ?? Number.NaN;
  const fast = used.find(
    ({ fits, varianceRate, varianceUnit, filter }) =>
      fits === true &&
      varianceRate > 0 &&
      varianceUnit === slow.varianceUnit &&
      // In ADU only one gain can be compared.
      (varianceUnit === "e" || Object.is(gainOf(filter), gainOf(slow.filter))),
  );
  return fast === undefined ? byWidths(light, slow, models, narrowNm) : bySkies(light, slow, fast);
}

/** Both skies were measured. */
function bySkies(light: ObjectLight, slow: FilterUse, fast: FilterUse): FilterComparison {
  const variance = slow.varianceRate / fast.varianceRate;
  const range = {
    low: slow.quartiles.low / fast.quartiles.high,
    high: slow.quartiles.high / fast.quartiles.low,
  };
  const skies = slow.backgroundEPerS / fast.backgroundEPerS;
  const known = Number.isFinite(skies) && skies > 0;
  // The object's light through the narrow filter over that through the broad one. With read noise in the variances their
  // ratio is nearer to 1 than the skies' is, so the loss comes out too small: at least.
  const light2 = light === "lines" ? 1 : (known ? skies : Math.min(1, variance)) ** 2;
  return {
    slow: slow.filter,
    fast: fast.filter,
    fastBand: fast.band!,
    timeFactor: variance / light2,
    low: range.low / light2,
    high: range.high / light2,
    basis: "measured",
    bound: light === "lines" || known ? null : "at-least",
    widthsNm: null,
  };
}

/** Only one was used: the other's sky follows from the widths of the bands. */
function byWidths(
  light: ObjectLight,
  slow: FilterUse,
  models: readonly NoiseModel[],
  narrowNm: number | undefined,
): FilterComparison {
  const fastBand = bandFor(light);
  const from = widthOf(slow.filterKind, slow.filter, narrowNm);
  const to = widthOf(fastBand, "", narrowNm);
  const { readShare, readShareBound } = models.find(({ filter }) => filter === slow.filter) ?? notKnown;
  const read = Number.isNaN(readShare) ? 0 : readShare;
  // In units of the slow filter's variance: sky as wide as the band, read noise as it is.
  const factor = (widths: number) => {
    const variance = 1 / ((1 - read) * widths + read);
    return light === "lines" ? variance : variance * widths ** 2;
  };
  const ends = [factor(to.lowNm / from.highNm), factor(to.highNm / from.lowNm)];
  return {
    slow: slow.filter,
    fast: null,
    fastBand,
    timeFactor: factor(to.nm / from.nm),
    low: Math.min(...ends),
    high: Math.max(...ends),
    basis: "bandwidths",
    // Read noise, left out, would take from the gain of a narrow band and add to that of a broad one.
    bound: boundOf(light, readShare, readShareBound),
    widthsNm: { slow: from.nm, fast: to.nm, fastAssumed: to.assumed },
  };
}

const notKnown = { readShare: Number.NaN, readShareBound: null };

/** Read noise taken as none, or as an upper bound, moves the factor one way or the other. */
function boundOf(
  light: ObjectLight,
  readShare: number,
  bound: NoiseModel["readShareBound"],
): FilterComparison["bound"] {
  if (readShare >= 0 && bound === null) return null;
  return (light === "lines") === Number.isNaN(readShare) ? "at-most" : "at-least";
}
