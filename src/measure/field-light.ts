import { median, quantile } from "../numbers/quantiles.js";
import { medianAndSigma } from "../numbers/robust.js";
import { fluxRatio, type LightPair, type LightRatio } from "./flux-ratio.js";

/** A star's light in two subs, and where it stands. */
export interface PlacedPair extends LightPair {
  /** In the later sub. */
  readonly x: number;
  readonly y: number;
  /** Square of its distance from the frame's middle in units of the corner's, less the same in the earlier sub. */
  readonly outward: number;
}

/** Stars scatter less than this (logarithm) behind a clear sky or an even veil. */
const evenScatter = 0.02;
/** Places of the field at which the light is looked for, along each side. */
const across = 8;
const places = across * across;
/** Stars are left out by so many groups in turn, to see how far the mean hangs on them. */
const groups = 24;
const everywhere = 0.01;
/** Stars within about this part of the field's diagonal say what comes through at a place. */
const nearPart = 0.08;
/** A star must be found even behind a cloud thicker than usual by so many times the scatter. */
const thicker = 2;
const foundSnr = 8;
const fewest = 12;
/** One in ten of a normal sample lies farther off than this. */
const sigmasOfTenth = 1.645;
/** What lies farther off than this many standard deviations is a variable star or a wrong pair: moved to there. */
const strange = 2.5;

/** Of subs that are not divided by flats, loss of light in the corner: between nothing and usually less than this. */
const usualVignetting = 0.3;

/**
 * How much of the starlight reached a sub, against another: the mean over the field, as an extended object is dimmed by
 * it. Behind a clear sky or an even veil all stars say the same, and their best mean is taken ({@link fluxRatio}). Behind
 * patchy cloud that mean would be wrong in three ways: it is a mean of logarithms, which lies below the mean of the
 * light; it counts places with many bright stars more; and stars behind the thickest part are not found at all. There,
 * stars are chosen by their light in the other sub, and what they say around each place of a grid is averaged over the
 * grid. In between, both results by weight. Where the field has moved between the subs, what vignetting makes of it is
 * fitted and taken off.
 */
export function fieldLight(
  given: readonly PlacedPair[],
  field: { readonly width: number; readonly height: number },
): Pick<LightRatio, "zeroPoint" | "zeroPointError"> {
  const { pairs, error: bent } = withoutVignetting(given);
  const even = fluxRatio(pairs);
  const widened = ({ zeroPoint, zeroPointError }: Pick<LightRatio, "zeroPoint" | "zeroPointError">) => ({
    zeroPoint,
    zeroPointError: Math.hypot(zeroPointError, bent * zeroPoint),
  });
  const scatter = Math.max(even.scatter, widestScatter(pairs));
  const patchy = 1 - (evenScatter / scatter) ** 2;
  if (!(patchy > 0)) return widened(even);
  const depth = even.zeroPoint * Math.exp(-thicker * scatter);
  const chosen = pairs.filter(
    ({ flux, error, before, beforeError }) =>
      flux > 0 && before > 10 * beforeError && before * depth > foundSnr * error,
  );
  const used = chosen.length >= fewest ? chosen : pairs.filter(({ flux, before }) => flux > 0 && before > 0);
  if (used.length < fewest) return widened(even);
  const mean = meanOverField(used, scatter, field);
  const mixed = (a: number, b: number) => patchy * a + (1 - patchy) * b;
  return widened({
    zeroPoint: mixed(mean.zeroPoint, even.zeroPoint),
    zeroPointError: mixed(mean.zeroPointError, even.zeroPointError),
  });
}

/**
 * Scatter of the stars beyond their errors when all but the strangest tenth count: the usual robust measures would take
 * a cloud over less than half of the field for outliers.
 */
function widestScatter(pairs: readonly PlacedPair[]): number {
  const sure = pairs.filter(({ flux, error, before, beforeError }) => flux > 10 * error && before > 10 * beforeError);
  if (sure.length < fewest) return 0;
  const logs = sure.map(({ flux, before }) => Math.log(flux / before));
  const middle = median(logs);
  const excess = logs.map((value, i) => {
    const { flux, error, before, beforeError } = sure[i]!;
    return (value - middle) ** 2 - sigmasOfTenth ** 2 * ((error / flux) ** 2 + (beforeError / before) ** 2);
  });
  return Math.sqrt(Math.max(0, quantile(excess, 0.9))) / sigmasOfTenth;
}

/**
 * Stars that moved outwards lose light in proportion to how much farther out they stand. The slope is fitted (outliers
 * counting less), held near nothing where the field hardly moved.
 * @returns the pairs without it, and the relative error that its uncertainty leaves in their mean
 */
function withoutVignetting(pairs: readonly PlacedPair[]): { pairs: readonly PlacedPair[]; error: number } {
  const used = pairs.filter(({ flux, error, before, beforeError }) => flux > 10 * error && before > 10 * beforeError);
  if (used.length < fewest) return { pairs, error: 0 };
  const logs = used.map(({ flux, before }) => Math.log(flux / before));
  const errors = used.map(({ flux, error, before, beforeError }) => Math.hypot(error / flux, beforeError / before));
  let [level, loss, mean, variance] = [medianAndSigma(logs).median, 0, 0, 0];
  for (let round = 0; round < 8; round++) {
    const left = logs.map((value, i) => value - level + loss * used[i]!.outward);
    const scatter = Math.max(evenScatter / 2, medianAndSigma(left).sigma);
    const weights = left.map((value, i) => {
      const error = Math.hypot(errors[i]!, scatter);
      const off = Math.abs(value) / error;
      return (off > 1.5 ? 1.5 / off : 1) / (error * error);
    });
    const sum = (of: (i: number) => number) => weights.reduce((all, weight, i) => all + weight * of(i), 0);
    const weight = sum(() => 1);
    mean = sum((i) => used[i]!.outward) / weight;
    const middle = sum((i) => logs[i]!) / weight;
    variance = 1 / (sum((i) => (used[i]!.outward - mean) ** 2) + 1 / usualVignetting ** 2);
    loss = -variance * sum((i) => (used[i]!.outward - mean) * (logs[i]! - middle));
    level = middle + loss * mean;
  }
  return {
    pairs: pairs.map((pair) => ({ ...pair, flux: pair.flux * Math.exp(loss * pair.outward) })),
    error: Math.sqrt(variance) * Math.abs(mean),
  };
}

function meanOverField(
  pairs: readonly PlacedPair[],
  scatter: number,
  { width, height }: { readonly width: number; readonly height: number },
): Pick<LightRatio, "zeroPoint" | "zeroPointError"> {
  const logs = pairs.map(({ flux, before }) => Math.log(flux / before));
  const errors = pairs.map(({ flux, error, before, beforeError }) => Math.hypot(error / flux, beforeError / before));
  const middle = medianAndSigma(logs).median;
  const light = logs.map((value, i) => {
    const most = strange * Math.hypot(scatter, errors[i]!);
    return Math.exp(middle + Math.max(-most, Math.min(most, value - middle)));
  });
  const weights = errors.map((error) => 1 / (error * error + scatter * scatter));
  const near2 = nearPart * nearPart * (width * width + height * height);
  // What each group of stars adds to each place: sums of weight, and of weight times light.
  const weightAt = new Float64Array(places * groups);
  const lightAt = new Float64Array(places * groups);
  for (let place = 0; place < places; place++) {
    const x = (((place % across) + 0.5) / across) * width;
    const y = ((Math.floor(place / across) + 0.5) / across) * height;
    for (let i = 0; i < pairs.length; i++) {
      const [dx, dy] = [pairs[i]!.x - x, pairs[i]!.y - y];
      // The little that all stars count keeps empty corners from being ruled by one star.
      const weight = weights[i]! * (Math.exp((-0.5 * (dx * dx + dy * dy)) / near2) + everywhere);
      weightAt[place * groups + (i % groups)]! += weight;
      lightAt[place * groups + (i % groups)]! += weight * light[i]!;
    }
  }
  const without = (group: number) => {
    let sum = 0;
    for (let place = 0; place < places; place++) {
      let [weight, value] = [0, 0];
      for (let g = 0; g < groups; g++) {
        if (g === group) continue;
        weight += weightAt[place * groups + g]!;
        value += lightAt[place * groups + g]!;
      }
      sum += value / weight / places;
    }
    return sum;
  };
  // The jackknife (Quenouille 1949, Tukey 1958) also sees what a gap between the stars leaves open.
  const zeroPoint = without(-1);
  const partial = Array.from({ length: groups }, (_, group) => without(group));
  const mean = partial.reduce((sum, value) => sum + value, 0) / groups;
  const variance = ((groups - 1) / groups) * partial.reduce((sum, value) => sum + (value - mean) ** 2, 0);
  return { zeroPoint, zeroPointError: Math.sqrt(variance) };
}
