import { median, quantile } from "../numbers/quantiles.js";
import { medianAndSigma } from "../numbers/robust.js";
import { fluxRatio, type LightRatio, type PlacedPair } from "./flux-ratio.js";
import { withoutVignetting } from "./vignetting.js";

/** Stars scatter less than this (logarithm) behind a clear sky or an even veil. */
const evenScatter = 0.02;
/** Places of the field at which the light is looked for, along each side. */
const across = 8;
const places = across * across;
/** Stars are left out by so many groups in turn, to see how far the mean hangs on them. */
const mostGroups = 24;
/** Share of its weight with which a star counts at every place: empty corners are not to be ruled by one star. */
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
 * Mean over a grid of places of what the stars around each say.
 * @param scatter - of single stars beyond their errors, as a logarithm
 */
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
  const groups = Math.min(mostGroups, pairs.length);
  // What each group of stars adds to each place: sums of weight, and of weight times light.
  const weightAt = new Float64Array(places * groups);
  const lightAt = new Float64Array(places * groups);
  for (let place = 0; place < places; place++) {
    const x = (((place % across) + 0.5) / across) * width;
    const y = ((Math.floor(place / across) + 0.5) / across) * height;
    for (let i = 0; i < pairs.length; i++) {
      const [dx, dy] = [pairs[i]!.x - x, pairs[i]!.y - y];
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
  // The jackknife also sees what a gap between the stars leaves open.
  const zeroPoint = without(-1);
  const partial = Array.from({ length: groups }, (_, group) => without(group));
  const mean = partial.reduce((sum, value) => sum + value, 0) / groups;
  const variance = ((groups - 1) / groups) * partial.reduce((sum, value) => sum + (value - mean) ** 2, 0);
  return { zeroPoint, zeroPointError: Math.sqrt(variance) };
}
