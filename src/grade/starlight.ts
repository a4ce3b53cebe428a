import { median, quantile } from "../numbers/quantiles.js";
import { medianAndSigma } from "../numbers/robust.js";
import { theilSen } from "../numbers/theil-sen.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { Group } from "./groups.js";
import type { Limits } from "./limits.js";

/** How much of the stars' light reached each sub of a group. Arrays run over the rows of the group. */
export interface Starlight {
  /** Relative to the clearest tenth, extinction included; NaN: nothing is known of it. */
  readonly light: Float64Array;
  /** Standard error of `light` as a fraction of it. */
  readonly relativeError: Float64Array;
  /** Where it comes from: stars in common with the reference, the number of stars, or nothing. */
  readonly from: readonly ("stars" | "count" | "nothing")[];
  /** `light` with extinction taken out, NaN where it was not measured on stars. */
  readonly transparency: Float64Array;
  readonly transparencyError: Float64Array;
}

/** What matching gave, by row of the table; NaN: not matched. */
export interface MatchedLight {
  readonly starlight: ArrayLike<number>;
  readonly starlightError: ArrayLike<number>;
}

/**
 * A star count falls as (limiting flux)^-0.85 where counts grow tenfold every three magnitudes, as they do at medium
 * galactic latitudes; so starlight over the limiting flux goes with the count to this power.
 */
const lightPerCount = 1.2;

/**
 * Starlight of the subs of a group. Where stars were matched, their light is used. Where not, the number of stars tells
 * how much light there was, as far as it lies significantly below that of the better subs: a sub without stars beside
 * a rich reference has no light at all. `transparency` of an earlier grading stands in for matching.
 */
export function starlightOf(table: FrameTable, group: Group, limits: Limits, matched?: MatchedLight): Starlight {
  const { rows } = group;
  const at = (column: ArrayLike<number>) => Float64Array.from(rows, (row) => column[row] ?? Number.NaN);
  const airmass = at(table.airmass);
  const noise = at(table.noiseAdu);
  const counts = at(table.starCount);
  const given = matched ? at(matched.starlight) : earlierLight(table, rows, limits);
  const error = matched
    ? at(matched.starlightError).map((e, i) => e / given[i])
    : at(table.transparencyError).map((e, i) => e / table.transparency[rows[i]]);
  const sure = given.map((light, i) => (light > 0 && !(error[i] > limits.starlight.mostError) ? light : Number.NaN));
  const clear = clearestTenth(sure, error);
  const usualCount = median(counts.map((n, i) => (sure[i] > 0 ? n : Number.NaN)));
  // More light shows more stars; where it does not, other stars were compared.
  const measured = sure.map((light, i) => {
    const more = light / clear;
    const stars = usualCount * more ** (1 / lightPerCount);
    return more > limits.starlight.mostExcess && counts[i] < 0.7 * stars ? Number.NaN : light;
  });
  // Without a stated error a measured value is trusted.
  const relativeError = error.map((e, i) => (Number.isNaN(measured[i]) ? Number.NaN : e >= 0 ? e : 0.01));
  const known = measured.some((light) => light > 0);
  const scale = known ? clearestTenth(measured, relativeError) : 1;
  const light = measured.map((value) => value / scale);
  const from = Array.from(light, (value): Starlight["from"][number] => (value > 0 ? "stars" : "nothing"));

  const most = quantile(counts, 0.9);
  const reach = reachOf(noise, at(table.fwhmPx));
  const byCount = Float64Array.from(counts, (n, i) => reach[i] * n ** lightPerCount);
  // One star more or less than five must not decide.
  const scaleOf = known
    ? median(byCount.map((value, i) => (light[i] > 0 && counts[i] > 5 ? value / light[i] : Number.NaN)))
    : quantile(byCount, 0.9);
  for (let i = 0; i < rows.length; i++) {
    if (light[i] > 0 || !(counts[i] >= 0) || !(most >= limits.starCount.enough)) continue;
    const fewer = counts[i] < most - 3 * Math.sqrt(most);
    from[i] = "count";
    const estimate = counts[i] === 0 ? 0 : byCount[i] / scaleOf;
    light[i] = fewer && Number.isFinite(estimate) ? Math.min(1, estimate) : 1;
    relativeError[i] = lightPerCount / Math.sqrt(Math.max(1, counts[i]));
  }
  const byStars = light.map((value, i) => (from[i] === "stars" ? value : Number.NaN));
  const clearAir = airOf(airmass, extinctionOf(byStars, airmass, noise, limits));
  const withoutAir = byStars.map((value, i) => value / clearAir[i]);
  const clearest = clearestTenth(withoutAir, relativeError);
  const transparency = withoutAir.map((value) => value / clearest);
  return {
    light,
    relativeError,
    from,
    transparency,
    transparencyError: transparency.map((value, i) => value * relativeError[i]),
  };
}

/** Subs this many of their errors below the clearest tenth and nearer to it are as clear, for all that can be told. */
const asClear = 4;
/** With fewer of them, their spread is not known. */
const fewestClear = 5;

/**
 * The light that a tenth of the subs exceed, freed of what noise adds: of subs that are equally clear, the brightest tenth
 * are those that noise lifted, by 1.28 errors. Among the subs that may be as clear as that, the spread that is more than
 * noise is kept, the rest is not.
 */
function clearestTenth(light: Float64Array, relativeError: Float64Array): number {
  const tenth = quantile(light, 0.9);
  const known = Array.from(light.keys()).filter((i) => light[i] > 0);
  const errorOf = (list: readonly number[]) => median(list.map((i) => relativeError[i]));
  const half = median(light);
  const error = errorOf(known.filter((i) => light[i] >= half));
  const clear = known.filter((i) => light[i] > tenth * (1 - asClear * error));
  if (!(error > 0) || clear.length < fewestClear) return tenth;
  const { median: middle, sigma } = medianAndSigma(clear.map((i) => light[i]));
  const noise = errorOf(clear) * middle;
  const believed = sigma > 0 ? Math.sqrt(Math.max(0, 1 - (noise / sigma) ** 2)) : 0;
  return middle + (tenth - middle) * believed;
}

/**
 * Starlight from an earlier grading, where it was measured on stars: the weight is starlight^2 / noise^2, less what is
 * blocked. From a table without weights, transparency and the air of a usual night.
 */
function earlierLight(table: FrameTable, rows: readonly number[], limits: Limits): Float64Array {
  return Float64Array.from(rows, (row) => {
    const transparency = table.transparency[row];
    const blocked = table.blockedFraction[row] > limits.blocked.symptom ? table.blockedFraction[row] : 0;
    const light = table.noiseAdu[row] * Math.sqrt(table.weight[row] / (1 - blocked));
    if (light > 0) return transparency > 0 ? light : Number.NaN;
    const air = table.airmass[row] > 0 ? 10 ** (-0.4 * limits.extinction.magPerAirmass * (table.airmass[row] - 1)) : 1;
    return transparency * air;
  });
}

/**
 * Extinction of the group, magnitudes an airmass. Fitted (median slope) where the dark, measured subs span enough air,
 * within what clear nights show; the usual value of `limits` otherwise, as a veil would pass for air.
 */
function extinctionOf(light: Float64Array, airmass: Float64Array, noise: Float64Array, { extinction }: Limits): number {
  const dark = 1.5 * quantile(noise, 0.2);
  const used = Array.from(light.keys()).filter((i) => light[i] > 0 && airmass[i] > 0 && noise[i] < dark);
  const span =
    quantile(
      used.map((i) => airmass[i]),
      0.95,
    ) -
    quantile(
      used.map((i) => airmass[i]),
      0.05,
    );
  if (used.length < extinction.fewestFrames || !(span > extinction.leastSpan)) return extinction.magPerAirmass;
  const step = Math.max(1, Math.ceil(used.length / 100));
  const few = used.filter((_, n) => n % step === 0);
  const { slope } = theilSen(
    few.map((i) => airmass[i]),
    few.map((i) => -2.5 * Math.log10(light[i])),
  );
  return Math.min(extinction.most, Math.max(extinction.least, slope));
}

/** What clear air lets through against the zenith; 1 where the airmass is not known. */
const airOf = (airmass: Float64Array, magPerAirmass: number) =>
  airmass.map((x) => (x > 0 ? 10 ** (-0.4 * magPerAirmass * (x - 1)) : 1));

/** The flux of the faintest star found is in proportion to noise and width; the group's usual ones where not known. */
function reachOf(noise: Float64Array, width: Float64Array): Float64Array {
  const usualNoise = median(noise);
  const usualWidth = median(width);
  const known = (value: number, usual: number) => (value > 0 ? value : usual > 0 ? usual : 1);
  return noise.map((n, i) => known(n, usualNoise) * known(width[i], usualWidth));
}
