import { quantile } from "../numbers/quantiles.js";
import { type Random, randomStream } from "../numbers/random.js";
import { randomBinomial } from "../numbers/random-counts.js";
import { CallError } from "../terms/errors.js";
import type { FrameTable } from "../terms/frame-table.js";
import { type CountSlope, countSlope } from "./count-slope.js";
import { depthReached, type FilterDepth } from "./depth.js";
import { type BandWidth, bandOf, widthOf } from "./filter-bands.js";
import type { Outlook } from "./forecast.js";
import { isKept } from "./nights.js";
import { type NoiseModel, noiseModels } from "./noise-model.js";

/** How many stars an alignment frame would show. */
export interface AlignmentStars {
  readonly target: string;
  readonly filter: string;
  readonly filterKind: string;
  /** The stars counted in this filter, or in another one with the band widths that were assumed. */
  readonly basis: "own-counts" | "other-filter";
  readonly fromFilter: string;
  /** The usual exposure that the counts come from, s. */
  readonly fromExposureS: number;
  readonly subs: number;
  readonly counted: Outlook;
  readonly slope: CountSlope;
  readonly readNoiseKnown: boolean;
  readonly frames: readonly { readonly exposureS: number; readonly stars: Outlook }[];
  /** Shortest of the usual lengths at which nine of ten frames show enough; NaN: none up to two minutes. */
  readonly enoughFromS: number;
  readonly enough: number;
  /** Judged at the first of the exposures asked for. */
  readonly verdict: "enough" | "may-be-too-few" | "too-few";
}

export interface AlignmentOptions {
  /** Exposures of the alignment frame, s; the one that is judged first. The subs' own, 10 s at most, when left out. */
  readonly exposuresS?: readonly number[];
  /** Fewest stars that a plan should count on; 10 when left out (common practice, no source). */
  readonly enough?: number;
  readonly models?: readonly NoiseModel[];
  /** Also for a filter that has not been used. */
  readonly unused?: { readonly filter: string; readonly filterKind: string };
  readonly narrowNm?: number;
  readonly seed?: number;
}

const usualLengthsS = [0.5, 1, 2, 3, 5, 8, 10, 15, 20, 30, 45, 60, 90, 120];
const draws = 1500;

/**
 * Stars that an alignment frame of the same field would show, by filter, with 10, 50 and 90 % values. The counts of the
 * kept subs are carried to another exposure by how deep it goes: depth = exposure / noise of the background, and stars
 * grow as depth^slope. Stars that vanish do so by chance (binomial), stars that are added are Poisson. Conditions are those
 * of a sub drawn from the kept ones.
 * @throws CallError when an exposure is not positive
 * @example
 * ```ts
 * import { alignmentStars } from "nightyield";
 * for (const { filter, frames, verdict } of alignmentStars(table, { exposuresS: [5] }))
 *   console.log(filter, frames[0].stars.p50, "stars in 5 s:", verdict);
 * ```
 */
export function alignmentStars(table: FrameTable, options: AlignmentOptions = {}): AlignmentStars[] {
  const models = options.models ?? noiseModels(table);
  for (const s of options.exposuresS ?? [])
    if (!(s > 0 && s <= 3600)) throw new CallError(`An alignment frame of ${s} s: expected more than 0 and up to 3600`);
  const depths = depthReached(table).filter(({ kept }) => kept > 0);
  const own = depths.flatMap((depth) => {
    const counted = countedRows(table, depth);
    return counted.length === 0 ? [] : [starsOf(table, depth, counted, null, models, options)];
  });
  const { unused } = options;
  if (unused === undefined) return own;
  // From the filter with the most subs of each target, where the one asked for was not used.
  const targets = [...new Set(depths.map(({ target }) => target.toLowerCase()))];
  const more = targets.flatMap((target) => {
    const of = depths.filter((depth) => depth.target.toLowerCase() === target);
    if (of.some(({ filterKind }) => bandOf(filterKind) === bandOf(unused.filterKind))) return [];
    const best = of.filter((depth) => countedRows(table, depth).length > 0).sort((a, b) => b.kept - a.kept)[0];
    return best === undefined ? [] : [starsOf(table, best, countedRows(table, best), unused, models, options)];
  });
  return [...own, ...more];
}

/** Kept subs of the usual exposure in which stars were counted. */
function countedRows(table: FrameTable, depth: FilterDepth): number[] {
  const kept = depth.rows.filter((row) => isKept(table, row) && table.starCount[row] >= 0 && table.exposureS[row] > 0);
  const counts = new Map<number, number>();
  for (const row of kept) counts.set(table.exposureS[row], (counts.get(table.exposureS[row]) ?? 0) + 1);
  const usual = [...counts].sort(([, a], [, b]) => b - a)[0]?.[0];
  return kept.filter((row) => table.exposureS[row] === usual);
}

function starsOf(
  table: FrameTable,
  depth: FilterDepth,
  rows: readonly number[],
  unused: AlignmentOptions["unused"] | null,
  models: readonly NoiseModel[],
  { exposuresS, enough = 10, narrowNm, seed = 1 }: AlignmentOptions,
): AlignmentStars {
  const fromExposureS = table.exposureS[rows[0]];
  const readShare = models.find(({ filter }) => filter === depth.filter)?.readShare ?? Number.NaN;
  const modelS = models.find(({ filter }) => filter === depth.filter)?.exposureS ?? fromExposureS;
  const slope = countSlope(table, depth.rows);
  const filter = unused?.filter ?? depth.filter;
  const filterKind = unused?.filterKind ?? depth.filterKind;
  const widths = unused === null || unused === undefined ? null : [depth, unused].map((f) => width(f, narrowNm));
  const counts = rows.map((row) => table.starCount[row]);
  const predict = (exposureS: number): Outlook => {
    const random = randomStream(seed, "alignment stars", depth.target, filter, exposureS);
    const found = Float64Array.from({ length: draws }, () => {
      const count = counts[Math.floor(random.uniform() * counts.length)];
      // Read noise not known: anything from none to all of the noise.
      const share = readShare >= 0 ? shareAt(readShare, modelS, fromExposureS) : random.uniform();
      const passed = widths === null ? 1 : drawnWidth(random, widths[1]) / drawnWidth(random, widths[0]);
      const longer = exposureS / fromExposureS;
      const deeper = (passed * longer) / Math.sqrt(share + (1 - share) * passed * longer);
      const ratio = deeper ** Math.max(0.1, slope.value + slope.error * random.normal());
      return ratio < 1 ? randomBinomial(random, count, ratio) : count + random.poisson(count * (ratio - 1));
    });
    return outlook(found);
  };
  const asked = exposuresS !== undefined && exposuresS.length > 0 ? exposuresS : [Math.min(10, fromExposureS)];
  const frames = asked.map((exposureS) => ({ exposureS, stars: predict(exposureS) }));
  const [{ stars }] = frames;
  return {
    target: depth.target,
    filter,
    filterKind,
    basis: widths === null ? "own-counts" : "other-filter",
    fromFilter: depth.filter,
    fromExposureS,
    subs: rows.length,
    counted: outlook(counts),
    slope,
    readNoiseKnown: readShare >= 0,
    frames,
    enoughFromS: usualLengthsS.find((s) => predict(s).p10 >= enough) ?? Number.NaN,
    enough,
    verdict: stars.p50 < enough ? "too-few" : stars.p10 < enough ? "may-be-too-few" : "enough",
  };
}

const width = ({ filter, filterKind }: { filter: string; filterKind: string }, narrowNm: number | undefined) =>
  widthOf(filterKind, filter, narrowNm);

/** A width as likely narrower as wider than the assumed one, by the ratio of its ends; nine of ten lie between them. */
function drawnWidth(random: Random, { nm, lowNm, highNm }: BandWidth): number {
  return nm * Math.exp((Math.log(highNm / lowNm) / 3.29) * random.normal());
}

/** Read noise's share of the variance at another exposure. */
function shareAt(share: number, atS: number, exposureS: number): number {
  const rest = ((1 - share) * exposureS) / atS;
  return share / (share + rest);
}

const outlook = (values: ArrayLike<number>): Outlook => ({
  p10: quantile(values, 0.1),
  p50: quantile(values, 0.5),
  p90: quantile(values, 0.9),
});
