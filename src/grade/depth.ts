import { quantile } from "../numbers/quantiles.js";

/** What each sub of a group adds to the stack. Arrays run over the rows of the group. */
export interface Depth {
  /** Exposure under the group's best conditions that would give the same depth of extended light, s. */
  readonly effectiveExposureS: Float64Array;
  /** Inverse-variance weight of the flux-scaled sub, 1 for the group's best tenth. */
  readonly weight: Float64Array;
}

/**
 * Effective exposure = exposure x (T/T0)^2 x (B0/B), with T the starlight, B the variance rate of the background, and 0
 * the best tenth of the group. The noise of the background is used for B, so no pedestal has to be known.
 * For subs of one exposure this is the exposure divided by the normalised variance (method: inverse-variance weights,
 * Fischer & Kochanski 1994, AJ 107, 802).
 * @param noiseAdu - standard deviation of the background, one pixel
 * @param starlight - starlight of each sub relative to any common scale; NaN: not known, taken as the group's best
 */
export function depthOf(exposureS: number, noiseAdu: ArrayLike<number>, starlight: ArrayLike<number>): Depth {
  const quality = Float64Array.from(noiseAdu, (noise, i) => {
    const light = Number.isFinite(starlight[i]) ? starlight[i]! : 1;
    return noise > 0 ? (light * light) / (noise * noise) : Number.NaN;
  });
  const best = quantile(quality, 0.9);
  const weight = quality.map((q) => q / best);
  return { weight, effectiveExposureS: weight.map((w) => w * exposureS) };
}

/**
 * Compares each sub with the mean of those worth keeping. In an equal-weight stack a sub lowers the signal-to-noise
 * ratio when its normalised variance exceeds about twice the mean of the others: u > mean(u) (2 + 1/n).
 * Subs are taken from the best downward, so a night that is mostly bad is still judged by its good part.
 * @returns u / (mean(u) (2 + 1/n)) of each sub: above 1 it costs the stack more than it gives; NaN where not known
 */
export function stackBurden(weight: ArrayLike<number>): Float64Array {
  const order = Array.from({ length: weight.length }, (_, i) => i)
    .filter((i) => weight[i]! > 0)
    .sort((a, b) => weight[b]! - weight[a]!);
  let sum = 0;
  let n = 0;
  for (const i of order) {
    const u = 1 / weight[i]!;
    if (n > 0 && u > (sum / n) * (2 + 1 / n)) break;
    sum += u;
    n++;
  }
  return Float64Array.from(weight, (w) =>
    w > 0 ? 1 / w / ((sum / n) * (2 + 1 / n)) : w === 0 ? Number.POSITIVE_INFINITY : Number.NaN,
  );
}
