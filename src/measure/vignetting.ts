import { medianAndSigma } from "../numbers/robust.js";
import type { PlacedPair } from "./flux-ratio.js";

/** Of subs that are not divided by flats, loss of light in the corner: between nothing and usually less than this. */
const usualVignetting = 0.3;
/** With fewer stars nothing is fitted. */
const fewest = 12;
/** Even bright stars differ by this much (logarithm). */
const leastScatter = 0.01;
const rounds = 8;

/**
 * Stars that moved outwards lose light in proportion to how much farther out they stand. The slope is fitted (outliers
 * counting less), held near nothing where the field hardly moved. A cloud that thickens across the field looks the same
 * in one pair of subs; the error says so.
 * @returns the pairs without it, and the relative error that its uncertainty leaves in their mean
 */
export function withoutVignetting(pairs: readonly PlacedPair[]): { pairs: readonly PlacedPair[]; error: number } {
  const used = pairs.filter(({ flux, error, before, beforeError }) => flux > 10 * error && before > 10 * beforeError);
  if (used.length < fewest) return { pairs, error: 0 };
  const logs = used.map(({ flux, before }) => Math.log(flux / before));
  const errors = used.map(({ flux, error, before, beforeError }) => Math.hypot(error / flux, beforeError / before));
  let [level, loss, mean, variance] = [medianAndSigma(logs).median, 0, 0, 0];
  for (let round = 0; round < rounds; round++) {
    const left = logs.map((value, i) => value - level + loss * used[i]!.outward);
    const scatter = Math.max(leastScatter, medianAndSigma(left).sigma);
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
