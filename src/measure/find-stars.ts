import { descendingOrder } from "../numbers/order.js";
import { median } from "../numbers/quantiles.js";
import type { Background } from "./background.js";
import { BrighterStars } from "./brighter-stars.js";
import { kernelSigma, kernelSum, smoothed } from "./find-peaks.js";
import { extraRecords } from "./frame-buffers.js";
import { isHotPixel } from "./hot-pixels.js";
import type { Level } from "./levels.js";
import { adaptiveMoments, fixedMoments, type Moments } from "./moments.js";
import type { Workspace } from "./simd/workspace.js";
import { cutStamp, mostStampRadius, type Stamp } from "./stamp.js";
import { type Star, starFlags } from "./star.js";
import { StarRecord } from "./star-records.js";

/** Stars of a level before their light is measured. */
export interface Found {
  /** Brightest first. */
  readonly stars: Star[];
  /** Peaks that are hot pixels or hits of cosmic rays. */
  readonly hotPixels: number;
  /** Covariance of the typical star, as recorded; NaN when no star has a shape. */
  readonly typical: { readonly xx: number; readonly xy: number; readonly yy: number };
}

/** Stars that are asked what the typical one is. */
const forTypical = extraRecords - 1;
/** Shapes are followed down to this change, or to a part of what noise does to them: about 1.5 / SNR. */
const finestStep = 0.006;
const coarsestStep = 0.06;
const stepInNoise = 0.17;

/** What a look at a peak gives; the same numbers stand in look.as.ts. */
const looks = { star: 0, hot: 1, unusual: 2 } as const;

/** Where stars are kept. */
export type StarSpace = Pick<Workspace, "kernels" | "stars" | "kinds" | "ranked">;

type Shape = Found["typical"];

const sigmaOf = ({ xx, xy, yy }: Shape) => (xx * yy - xy ** 2) ** 0.25;

const round = (sigma: number): Shape => ({ xx: sigma * sigma, xy: 0, yy: sigma * sigma });

/** Goes through the peaks of a level, strongest first, and keeps those that are stars of their own. */
export class StarFinder {
  readonly #level: Level;
  readonly #background: Background;
  readonly #saturation: number;
  readonly #stamp: Stamp;
  readonly #space: StarSpace;
  readonly #moments: Moments = { x: 0, y: 0, xx: 0, xy: 0, yy: 0, flux: 0 };
  #hotPixels = 0;

  /**
   * @param saturation - value of a pixel of the level that counts as saturated; Infinity: none does
   * @param space - room for a record of each peak and {@link extraRecords} more; the stars found stand in it
   */
  constructor(level: Level, background: Background, saturation: number, stamp: Stamp, space: StarSpace) {
    this.#stamp = stamp;
    this.#space = space;
    this.#level = level;
    this.#background = background;
    this.#saturation = saturation;
  }

  find(peaks: Int32Array): Found {
    const { sums, source } = this.#level;
    const strengths = new Float64Array(peaks.length);
    for (let i = 0; i < strengths.length; i++) strengths[i] = smoothed(sums.values, peaks[i]!, sums.width);
    const ranked = descendingOrder(strengths);
    const order = ranked.map((place) => peaks[place]!);
    // Saturated stars, and those hardly above the noise of a pixel, are asked only where there are no others.
    let alike = this.#firstLook(peaks, order, 0, 5);
    if (alike.length === 0) alike = this.#firstLook(peaks, order, starFlags.saturated, 5);
    if (alike.length === 0) alike = this.#firstLook(peaks, order, starFlags.saturated, 2);
    const typical = typicalShape(alike);
    this.#hotPixels = 0;
    const stars: Star[] = [];
    if (!(typical.xx > 0)) {
      const star = this.#record(peaks.length);
      for (const at of order) this.#look(at, round(1.5), 12, star);
      return { stars, hotPixels: this.#hotPixels, typical };
    }
    const sigma = Math.sqrt(Math.sqrt(typical.xx * typical.yy - typical.xy ** 2));
    const longest = Math.sqrt(Math.max(typical.xx, typical.yy));
    const radius = Math.min(mostStampRadius, Math.max(7, Math.ceil(4.2 * longest) + 3));
    const brighter = new BrighterStars(source.width, source.height, sigma, peaks.length);
    // In the order of the rows, in which pixels come from the cache; then from the strongest to the faintest.
    this.#lookAtAll(peaks, typical, radius);
    const { kinds, stars: looked, ranked: kept } = this.#space;
    // Hits of cosmic rays cover several pixels and are still sharper than any star.
    const sharpest = (0.45 * sigma) ** 4;
    let star = new StarRecord(kept, 0);
    for (let rank = 0; rank < ranked.length; rank++) {
      const place = ranked[rank]!;
      if (kinds[place] !== looks.star) continue;
      // From here on stars are asked for in this order.
      star.take(looked, place);
      if (isPartOf(star, strengths[place]!, brighter)) continue;
      if (star.xx * star.yy - star.xy ** 2 < sharpest) {
        this.#hotPixels++;
        continue;
      }
      brighter.add(star);
      stars.push(star);
      star = new StarRecord(kept, stars.length);
    }
    return { stars, hotPixels: this.#hotPixels, typical };
  }

  /** Shapes of the strongest peaks without flags other than those allowed. */
  #firstLook(peaks: Int32Array, order: Int32Array, allowed: number, leastPeak: number): Star[] {
    const stars: Star[] = [];
    let sigma = 1.5;
    for (let i = 0; i < order.length && stars.length < forTypical; i++) {
      const star = this.#record(peaks.length + stars.length);
      if (!this.#look(order[i]!, round(sigma), 24, star)) continue;
      if ((star.flags & ~allowed) !== 0 || star.peak < leastPeak * star.sigma) continue;
      stars.push(star);
      if (stars.length <= 20) sigma = median(stars.map(({ xx, xy, yy }) => (xx * yy - xy * xy) ** 0.25));
    }
    return stars;
  }

  #record(index: number): StarRecord {
    return new StarRecord(this.#space.stars, index);
  }

  /** Looks at all peaks, in the order of the rows; record i is that of peak i. */
  #lookAtAll(peaks: Int32Array, guess: Shape, radius: number): void {
    const { kinds, kernels, stars } = this.#space;
    const { source, sums, side } = this.#level;
    const { values } = source;
    const fast = kernels !== null && side === 1 && values instanceof Uint16Array && source.mosaic === null;
    if (fast && values.buffer === stars.buffer && peaks.buffer === stars.buffer) {
      for (let i = 0; i < peaks.length; i++) this.#skyUnder(peaks[i]!, this.#record(i));
      kernels.lookAt16(
        values.byteOffset,
        source.width,
        source.height,
        peaks.byteOffset,
        peaks.length,
        sums.width,
        radius,
        mostStampRadius,
        guess.xx,
        guess.xy,
        guess.yy,
        sigmaOf(guess),
        this.#saturation,
        finestStep,
        coarsestStep,
        stepInNoise,
        this.#stamp.values.byteOffset,
        this.#stamp.out.byteOffset,
        stars.byteOffset,
        kinds.byteOffset,
      );
    } else kinds.fill(looks.unusual, 0, peaks.length);
    for (let i = 0; i < peaks.length; i++) {
      if (kinds[i] === looks.hot) this.#hotPixels++;
      else if (kinds[i] === looks.unusual)
        kinds[i] = this.#look(peaks[i]!, guess, radius, this.#record(i)) ? looks.star : looks.hot;
    }
  }

  /** Clears a record and fills in level and noise of a pixel of the sky at a peak. */
  #skyUnder(at: number, star: StarRecord): void {
    const { sums, side } = this.#level;
    const sumX = at % sums.width;
    const mapX = (sumX + 0.5) * side - 0.5;
    const mapY = ((at - sumX) / sums.width + 0.5) * side - 0.5;
    star.clear();
    star.sky = (this.#background.level.at(mapX, mapY) / 4) * side * side;
    star.sigma = (this.#background.sigma.within(mapX, mapY) / 2) * side;
  }

  /**
   * Measures place and shape of what made a peak.
   * @returns false: a hot pixel
   */
  #look(at: number, guess: Shape, radius: number, star: StarRecord): boolean {
    const sigma = sigmaOf(guess);
    const { source, sums } = this.#level;
    const stamp = this.#stamp;
    this.#skyUnder(at, star);
    const { sky, sigma: noise } = star;
    const left = 2 * (at % sums.width);
    const top = 2 * Math.floor(at / sums.width);
    cutStamp(source, left, top, radius, sky, stamp);
    let peak = Number.NEGATIVE_INFINITY;
    let peakX = 0;
    let peakY = 0;
    for (let y = -1; y <= 2; y++)
      for (let x = -1; x <= 2; x++) {
        const value = stamp.values[(y + radius) * stamp.side + x + radius]!;
        if (value > peak) {
          peak = value;
          peakX = x;
          peakY = y;
        }
      }
    const raw = source.values[(top + peakY) * source.width + left + peakX]!;
    const saturated = raw >= this.#saturation;
    if (!saturated && isHotPixel(stamp, peakX, peakY, noise)) {
      this.#hotPixels++;
      return false;
    }
    const step = Math.max(finestStep, Math.min(coarsestStep, (stepInNoise * noise) / (peak * sigma)));
    const start = centroid(stamp, peakX, peakY);
    const found = this.#moments;
    let flags = saturated ? starFlags.saturated : 0;
    const drift = Math.max(3, 1.5 * sigma) * (saturated ? 3 : 1);
    let settled = adaptiveMoments(stamp, start.x, start.y, guess, drift, step, found);
    const reach = 3.24 * Math.sqrt(Math.max(found.xx, found.yy));
    if ((settled && reach > radius - 2 && radius < mostStampRadius) || (!settled && saturated)) {
      cutStamp(source, left, top, Math.min(mostStampRadius, 3 * radius), sky, stamp);
      settled = adaptiveMoments(stamp, start.x, start.y, saturated ? round(2 * sigma) : guess, 2 * drift, step, found);
    }
    let placed = settled;
    if (!settled && !saturated) {
      const got = fixedMoments(stamp, start.x, start.y, sigma, drift, found);
      placed = got !== "nothing";
      settled = got === "shape";
    }
    if (!settled) flags |= starFlags.noShape;
    const x = left + (placed ? found.x : start.x);
    const y = top + (placed ? found.y : start.y);
    const clear = 2 * sigma;
    if (
      x < clear ||
      y < clear ||
      x > source.width - 1 - clear ||
      y > source.height - 1 - clear ||
      missingNear(stamp, x - left, y - top, clear)
    )
      flags |= starFlags.incomplete;
    star.x = x;
    star.y = y;
    star.xx = settled ? found.xx : Number.NaN;
    star.xy = settled ? found.xy : Number.NaN;
    star.yy = settled ? found.yy : Number.NaN;
    star.peak = peak;
    star.flags = flags;
    return true;
  }
}

/** True when a peak belongs to a brighter star: it lies inside its shape, or is no more than a ripple on its wings. */
function isPartOf(star: Star, smoothedPeak: number, brighter: BrighterStars): boolean {
  const wings = brighter.lightAt(star.x, star.y);
  if (wings === Number.POSITIVE_INFINITY) return true;
  const scatter = kernelSigma * 2 * star.sigma;
  const strength = smoothedPeak - kernelSum * 4 * star.sky;
  const amplitude = strength / (kernelSum * 4);
  return (amplitude - 1.5 * wings) * kernelSum * 4 < 5 * scatter * Math.sqrt(1 + wings / (4 * star.sigma ** 2) / 100);
}

/**
 * Medians of the covariances over the stars whose width is the most common one: stars are alike, while galaxies, blends,
 * knots of nebula and hits of cosmic rays each have their own width.
 */
function typicalShape(stars: readonly Star[]): Found["typical"] {
  if (stars.length === 0) return { xx: Number.NaN, xy: Number.NaN, yy: Number.NaN };
  const bySize = stars.map((star) => ({ star, size: Math.log(star.xx * star.yy - star.xy ** 2) / 4 }));
  bySize.sort((a, b) => a.size - b.size);
  const share = Math.ceil(bySize.length / 3);
  let start = 0;
  let narrowest = Number.POSITIVE_INFINITY;
  for (let i = 0; i + share <= bySize.length; i++) {
    const range = bySize[i + share - 1]!.size - bySize[i]!.size;
    if (range < narrowest) {
      narrowest = range;
      start = i;
    }
  }
  const common = median(bySize.slice(start, start + share).map(({ size }) => size));
  const alike = bySize
    .filter(({ size }) => Math.abs(size - common) < Math.max(0.15, narrowest))
    .map(({ star }) => star);
  return { xx: median(alike.map((s) => s.xx)), xy: median(alike.map((s) => s.xy)), yy: median(alike.map((s) => s.yy)) };
}

/** First moments of what is positive in 5 x 5 pixels. */
function centroid({ values, side, radius }: Stamp, x: number, y: number): { x: number; y: number } {
  let sum = 0;
  let sumX = 0;
  let sumY = 0;
  for (let dy = -2; dy <= 2; dy++)
    for (let dx = -2; dx <= 2; dx++) {
      const value = values[(y + dy + radius) * side + x + dx + radius]!;
      if (!(value > 0)) continue;
      sum += value;
      sumX += value * dx;
      sumY += value * dy;
    }
  return sum > 0 ? { x: x + sumX / sum, y: y + sumY / sum } : { x, y };
}

/** True when a pixel within a distance has no value. */
function missingNear(stamp: Stamp, x: number, y: number, distance: number): boolean {
  if (stamp.missing === 0) return false;
  const { values, side, radius } = stamp;
  for (let py = Math.max(-radius, Math.ceil(y - distance)); py <= Math.min(radius, y + distance); py++)
    for (let px = Math.max(-radius, Math.ceil(x - distance)); px <= Math.min(radius, x + distance); px++)
      if (Number.isNaN(values[(py + radius) * side + px + radius]!)) return true;
  return false;
}
