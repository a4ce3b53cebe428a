import { descendingOrder } from "../numbers/order.js";
import { median } from "../numbers/quantiles.js";
import type { Background } from "./background.js";
import { BrighterStars } from "./brighter-stars.js";
import { kernelSigma, kernelSum, smoothed } from "./find-peaks.js";
import { isHotPixel } from "./hot-pixels.js";
import type { Level } from "./levels.js";
import { adaptiveMoments, fixedMoments, type Moments } from "./moments.js";
import { cutStamp, mostStampRadius, type Stamp } from "./stamp.js";
import { type Star, starFlags } from "./star.js";

/** Stars of a level before their light is measured. */
export interface Found {
  /** Brightest first. */
  readonly stars: Star[];
  /** Peaks that are hot pixels or hits of cosmic rays. */
  readonly hotPixels: number;
  /** Covariance of the typical star, as recorded; NaN when no star has a shape. */
  readonly typical: { readonly xx: number; readonly xy: number; readonly yy: number };
}

const forTypical = 200;
/** Shapes are followed down to this change, or to a part of what noise does to them: about 1.5 / SNR. */
const finestStep = 0.006;
const coarsestStep = 0.06;
const stepInNoise = 0.17;

type Shape = Found["typical"];

const round = (sigma: number): Shape => ({ xx: sigma * sigma, xy: 0, yy: sigma * sigma });

/** Goes through the peaks of a level, strongest first, and keeps those that are stars of their own. */
export class StarFinder {
  readonly #level: Level;
  readonly #background: Background;
  readonly #saturation: number;
  readonly #stamp: Stamp;
  readonly #moments: Moments = { x: 0, y: 0, xx: 0, xy: 0, yy: 0, flux: 0 };
  #hotPixels = 0;

  /** @param saturation - value of a pixel of the level that counts as saturated; Infinity: none does */
  constructor(level: Level, background: Background, saturation: number, stamp: Stamp) {
    this.#stamp = stamp;
    this.#level = level;
    this.#background = background;
    this.#saturation = saturation;
  }

  find(peaks: Int32Array): Found {
    const { sums, source } = this.#level;
    const ranked = byStrength(peaks, sums.values, sums.width);
    const order = ranked.map((place) => peaks[place]!);
    // Saturated stars, and those hardly above the noise of a pixel, are asked only where there are no others.
    let alike = this.#firstLook(order, 0, 5);
    if (alike.length === 0) alike = this.#firstLook(order, starFlags.saturated, 5);
    if (alike.length === 0) alike = this.#firstLook(order, starFlags.saturated, 2);
    const typical = typicalShape(alike);
    this.#hotPixels = 0;
    const stars: Star[] = [];
    if (!(typical.xx > 0)) {
      for (const at of order) this.#measure(at, round(1.5), 12);
      return { stars, hotPixels: this.#hotPixels, typical };
    }
    const sigma = Math.sqrt(Math.sqrt(typical.xx * typical.yy - typical.xy ** 2));
    const longest = Math.sqrt(Math.max(typical.xx, typical.yy));
    const radius = Math.min(mostStampRadius, Math.max(7, Math.ceil(4.2 * longest) + 3));
    const brighter = new BrighterStars(source.width, source.height, sigma, peaks.length);
    // In the order of the rows, in which pixels come from the cache; then from the strongest to the faintest.
    const measured: (Star | null)[] = [];
    for (let i = 0; i < peaks.length; i++) measured.push(this.#measure(peaks[i]!, typical, radius));
    for (let rank = 0; rank < ranked.length; rank++) {
      const place = ranked[rank]!;
      const star = measured[place]!;
      if (star === null || this.#isPartOf(star, peaks[place]!, brighter)) continue;
      // Hits of cosmic rays cover several pixels and are still sharper than any star.
      if (star.xx * star.yy - star.xy ** 2 < (0.45 * sigma) ** 4) {
        this.#hotPixels++;
        continue;
      }
      brighter.add(star);
      stars.push(star);
    }
    return { stars, hotPixels: this.#hotPixels, typical };
  }

  /** Shapes of the strongest peaks without flags other than those allowed. */
  #firstLook(order: Int32Array, allowed: number, leastPeak: number): Star[] {
    const stars: Star[] = [];
    let sigma = 1.5;
    for (let i = 0; i < order.length && stars.length < forTypical; i++) {
      const star = this.#measure(order[i]!, round(sigma), 24);
      if (star === null || (star.flags & ~allowed) !== 0 || star.peak < leastPeak * star.sigma) continue;
      stars.push(star);
      if (stars.length <= 20) sigma = median(stars.map(({ xx, xy, yy }) => (xx * yy - xy * xy) ** 0.25));
    }
    return stars;
  }

  /** Measures place and shape of what made a peak; null: a hot pixel. */
  #measure(at: number, guess: Shape, radius: number): Star | null {
    const sigma = (guess.xx * guess.yy - guess.xy ** 2) ** 0.25;
    const { source, sums, side } = this.#level;
    const stamp = this.#stamp;
    const sumX = at % sums.width;
    const sumY = Math.floor(at / sums.width);
    const mapX = (sumX + 0.5) * side - 0.5;
    const mapY = (sumY + 0.5) * side - 0.5;
    const sky = (this.#background.level.at(mapX, mapY) / 4) * side * side;
    const noise = (this.#background.sigma.within(mapX, mapY) / 2) * side;
    const left = 2 * sumX;
    const top = 2 * sumY;
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
      return null;
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
    const shape = settled ? found : { xx: Number.NaN, xy: Number.NaN, yy: Number.NaN };
    return {
      x,
      y,
      xx: shape.xx,
      xy: shape.xy,
      yy: shape.yy,
      peak,
      sky,
      sigma: noise,
      flux: Number.NaN,
      fluxError: Number.NaN,
      hfr: Number.NaN,
      flags,
    };
  }

  /** True when a peak belongs to a brighter star: it lies inside its shape, or is no more than a ripple on its wings. */
  #isPartOf(star: Star, at: number, brighter: BrighterStars): boolean {
    const wings = brighter.lightAt(star.x, star.y);
    if (wings === Number.POSITIVE_INFINITY) return true;
    const { sums } = this.#level;
    const scatter = kernelSigma * 2 * star.sigma;
    const strength = smoothed(sums.values, at, sums.width) - kernelSum * 4 * star.sky;
    const amplitude = strength / (kernelSum * 4);
    return (amplitude - 1.5 * wings) * kernelSum * 4 < 5 * scatter * Math.sqrt(1 + wings / (4 * star.sigma ** 2) / 100);
  }
}

function byStrength(peaks: Int32Array, values: Float32Array, width: number): Int32Array {
  const strength = new Float32Array(peaks.length);
  for (let i = 0; i < strength.length; i++) strength[i] = smoothed(values, peaks[i]!, width);
  return descendingOrder(strength);
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
