import { descendingOrder } from "../numbers/order.js";
import { median } from "../numbers/quantiles.js";
import type { Background } from "./background.js";
import { BrighterStars } from "./brighter-stars.js";
import { kernelSigma, kernelSum, smoothed } from "./find-peaks.js";
import { extraRecords } from "./frame-buffers.js";
import type { Level } from "./levels.js";
import { lookBesideHotPixels, lookBesideStars } from "./look-beside.js";
import { looks, PeakLooks, round, type StarSpace } from "./peak-looks.js";
import { rankedTogether } from "./peaks-again.js";
import { putBack } from "./put-back.js";
import { mostStampRadius, type Stamp } from "./stamp.js";
import { type Star, starFlags } from "./star.js";
import { StarRecord } from "./star-records.js";
import { isWide, type Shape, sigmaOf, typicalShape } from "./typical-shape.js";

/** Stars of a level before their light is measured. */
export interface Found {
  /** Brightest first. */
  readonly stars: Star[];
  /** Peaks that are hot pixels or hits of cosmic rays. */
  readonly hotPixels: number;
  /** Covariance of the typical star, as recorded; NaN when no star has a shape. */
  readonly typical: Shape;
}

/** Stars that are asked what the typical one is. */
const forTypical = extraRecords - 1;

/** Goes through the peaks of a level, strongest first, and keeps those that are stars of their own. */
export class StarFinder {
  readonly #looks: PeakLooks;

  /**
   * @param saturation - value of a pixel of the level that counts as saturated; Infinity: none does
   * @param space - room for a record of each peak and {@link extraRecords} more; the stars found stand in it
   */
  constructor(level: Level, background: Background, saturation: number, stamp: Stamp, space: StarSpace) {
    this.#looks = new PeakLooks(level, background, saturation, stamp, space);
  }

  find(peaks: Int32Array): Found {
    const looking = this.#looks;
    const { sums, source, side } = looking.level;
    const strengths = new Float64Array(peaks.length);
    for (let i = 0; i < strengths.length; i++) strengths[i] = smoothed(sums.values, peaks[i]!, sums.width);
    const ranked = descendingOrder(strengths);
    // Saturated stars, and those hardly above the noise of a pixel, are asked only where there are no others.
    let alike = this.#firstLook(peaks, ranked, 0, 5);
    if (alike.length === 0) alike = this.#firstLook(peaks, ranked, starFlags.saturated, 5);
    if (alike.length === 0) alike = this.#firstLook(peaks, ranked, starFlags.saturated, 2);
    const typical = typicalShape(alike);
    const longest = Math.sqrt(Math.max(typical.xx, typical.yy));
    looking.knowTypical(typical);
    const stars: Star[] = [];
    if (!(typical.xx > 0)) {
      const star = looking.record(peaks.length);
      for (const place of ranked) if (!looking.at(peaks[place]!, round(1.5), 12, star)) looking.hotPixels++;
      return { stars, hotPixels: looking.hotPixels, typical };
    }
    const sigma = sigmaOf(typical);
    const radius = Math.min(mostStampRadius, Math.max(7, Math.ceil(4.2 * longest) + 3));
    // In the order of the rows, in which pixels come from the cache; then from the strongest to the faintest.
    looking.atAll(peaks, 0, typical, radius);
    const beside = lookBesideHotPixels(looking, peaks, typical, radius);
    const again = lookBesideStars(looking, peaks, beside, typical, radius);
    const { kinds, stars: looked, ranked: kept } = looking.space;
    const { order: places, strengths: strength } = rankedTogether(ranked, strengths, again, sums);
    const brighter = new BrighterStars(source.width, source.height, sigma, places.length);
    // Hits of cosmic rays cover several pixels and are still sharper than any star.
    const sharpest = (0.45 * sigma) ** 4;
    let star = new StarRecord(kept, 0);
    for (let rank = 0; rank < places.length; rank++) {
      const place = places[rank]!;
      if (kinds[place] !== looks.star) continue;
      // From here on stars are asked for in this order.
      star.take(looked, place);
      const at = place < peaks.length ? peaks[place]! : again[place - peaks.length]!;
      // Two stars that touch make two peaks, but one ellipse around both.
      if (side === 1 && isWide(star, typical)) putBack(star, at, sums, sigma);
      if (isPartOf(star, strength[place]!, brighter))
        if (side > 1 || !putBack(star, at, sums, sigma) || isPartOf(star, strength[place]!, brighter)) continue;
      if (star.xx * star.yy - star.xy ** 2 < sharpest) {
        looking.hotPixels++;
        continue;
      }
      brighter.add(star);
      stars.push(star);
      star = new StarRecord(kept, stars.length);
    }
    return { stars, hotPixels: looking.hotPixels, typical };
  }

  /** Shapes of the strongest peaks without flags other than those allowed. */
  #firstLook(peaks: Int32Array, ranked: Int32Array, allowed: number, leastPeak: number): Star[] {
    const stars: Star[] = [];
    let sigma = 1.5;
    for (let i = 0; i < ranked.length && stars.length < forTypical; i++) {
      const star = this.#looks.record(peaks.length + stars.length);
      if (!this.#looks.at(peaks[ranked[i]!]!, round(sigma), 24, star)) continue;
      if ((star.flags & ~allowed) !== 0 || star.peak < leastPeak * star.sigma) continue;
      stars.push(star);
      if (stars.length <= 20) sigma = median(stars.map(sigmaOf));
    }
    return stars;
  }
}

/** True when a peak belongs to a brighter star: it lies inside its shape, or is no more than a ripple on its wings. */
function isPartOf(star: StarRecord, smoothedPeak: number, brighter: BrighterStars): boolean {
  const wings = brighter.lightAt(star.x, star.y);
  if (wings === Number.POSITIVE_INFINITY) return true;
  const scatter = kernelSigma * 2 * star.sigma;
  const strength = smoothedPeak - kernelSum * 4 * star.sky;
  const amplitude = strength / (kernelSum * 4);
  // What the surroundings of the peak rise by has been taken off already.
  const ripple = Math.max(0, 1.5 * wings - star.rise);
  return (amplitude - ripple) * kernelSum * 4 < 5 * scatter * Math.sqrt(1 + wings / (4 * star.sigma ** 2) / 100);
}
