import { descendingOrder } from "../numbers/order.js";
import { median } from "../numbers/quantiles.js";
import type { Background } from "./background.js";
import { BrighterStars } from "./brighter-stars.js";
import { closePeaks } from "./close-peaks.js";
import { kernelSigma, kernelSum, smoothed } from "./find-peaks.js";
import { extraRecords } from "./frame-buffers.js";
import { isHotPixel, markMended, mendHotPixel } from "./hot-pixels.js";
import { detectionSigma, type Level } from "./levels.js";
import { LocalSky } from "./local-sky.js";
import { adaptiveMoments, fixedMoments, type Moments } from "./moments.js";
import { type Changed, NearPeaks, peaksAgain, rankedTogether } from "./peaks-again.js";
import { putBack } from "./put-back.js";
import type { Workspace } from "./simd/workspace.js";
import { cutStamp, mostStampRadius, type Stamp } from "./stamp.js";
import { centroid, missingNear } from "./stamp-places.js";
import { type Star, starFlags } from "./star.js";
import { numbersPerStar, peakNumber, StarRecord } from "./star-records.js";
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
/** Shapes are followed down to this change, or to a part of what noise does to them: about 1.5 / SNR. */
const finestStep = 0.006;
const coarsestStep = 0.06;
const stepInNoise = 0.17;

/** Stars of a smaller standard deviation, pixels, are blurred by the sums; those so many sigma bright have neighbours. */
const sharp = 2;
const bright = 40;

/** What a look at a peak gives; the same numbers stand in look.as.ts. */
const looks = { star: 0, hot: 1, unusual: 2, nothing: 3 } as const;

/** Where the kernel finds the balance of a mosaic's channels among the stamp's results; it uses the others. */
const balancePlace = 80;

/** Where stars are kept. */
export type StarSpace = Pick<Workspace, "kernels" | "peaks" | "stars" | "kinds" | "ranked">;

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
  #localSky: LocalSky | null = null;

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
    const { sums, source, side } = this.#level;
    const strengths = new Float64Array(peaks.length);
    for (let i = 0; i < strengths.length; i++) strengths[i] = smoothed(sums.values, peaks[i]!, sums.width);
    const ranked = descendingOrder(strengths);
    // Saturated stars, and those hardly above the noise of a pixel, are asked only where there are no others.
    let alike = this.#firstLook(peaks, ranked, 0, 5);
    if (alike.length === 0) alike = this.#firstLook(peaks, ranked, starFlags.saturated, 5);
    if (alike.length === 0) alike = this.#firstLook(peaks, ranked, starFlags.saturated, 2);
    const typical = typicalShape(alike);
    const longest = Math.sqrt(Math.max(typical.xx, typical.yy));
    if (side === 1 && longest > 0) this.#localSky = new LocalSky(sums, longest);
    const stars: Star[] = [];
    if (!(typical.xx > 0)) {
      const star = this.#record(peaks.length);
      for (const place of ranked) if (!this.#look(peaks[place]!, round(1.5), 12, star)) this.#hotPixels++;
      return { stars, hotPixels: this.#hotPixels, typical };
    }
    const sigma = sigmaOf(typical);
    const radius = Math.min(mostStampRadius, Math.max(7, Math.ceil(4.2 * longest) + 3));
    // In the order of the rows, in which pixels come from the cache; then from the strongest to the faintest.
    this.#lookAtAll(peaks, 0, typical, radius);
    const beside = this.#lookBesideHotPixels(peaks, typical, radius);
    const again = this.#lookBesideStars(peaks, beside, typical, radius);
    const { kinds, stars: looked, ranked: kept } = this.#space;
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
  #firstLook(peaks: Int32Array, ranked: Int32Array, allowed: number, leastPeak: number): Star[] {
    const stars: Star[] = [];
    let sigma = 1.5;
    for (let i = 0; i < ranked.length && stars.length < forTypical; i++) {
      const star = this.#record(peaks.length + stars.length);
      if (!this.#look(peaks[ranked[i]!]!, round(sigma), 24, star)) continue;
      if ((star.flags & ~allowed) !== 0 || star.peak < leastPeak * star.sigma) continue;
      stars.push(star);
      if (stars.length <= 20) sigma = median(stars.map(({ xx, xy, yy }) => (xx * yy - xy * xy) ** 0.25));
    }
    return stars;
  }

  #record(index: number): StarRecord {
    return new StarRecord(this.#space.stars, index);
  }

  /** Looks at peaks, in the order of the rows; the record of peak i is that numbered `first` + i. */
  #lookAtAll(peaks: Int32Array, first: number, guess: Shape, radius: number): void {
    const { kernels } = this.#space;
    const kinds = this.#space.kinds.subarray(first, first + peaks.length);
    const stars = this.#space.stars.subarray(first * numbersPerStar);
    const star = this.#record(first);
    const { source, sums, side } = this.#level;
    const { values } = source;
    const fast = kernels !== null && side === 1 && values instanceof Uint16Array;
    if (fast && values.buffer === stars.buffer && peaks.buffer === stars.buffer) {
      const { mosaic } = source;
      const { out } = this.#stamp;
      for (let i = 0; i < peaks.length; i++) this.#skyUnder(peaks[i]!, star.moveTo(first + i));
      if (mosaic !== null) {
        out.set(mosaic.balance, balancePlace);
        for (let i = 0; i < peaks.length; i++) {
          const sumX = peaks[i]! % sums.width;
          const sumY = (peaks[i]! - sumX) / sums.width;
          for (let k = 0; k < 4; k++) stars[i * numbersPerStar + k] = mosaic.offsets[k]!.within(sumX, sumY);
        }
      }
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
        mosaic === null ? 0 : out.byteOffset + 8 * balancePlace,
      );
    } else kinds.fill(looks.unusual);
    for (let i = 0; i < peaks.length; i++) {
      star.moveTo(first + i);
      if (kinds[i] === looks.unusual) kinds[i] = this.#look(peaks[i]!, guess, radius, star) ? looks.star : looks.hot;
      // On a bright ground everything looks wide, and the noise has peaks that look like hot pixels.
      if (kinds[i] === looks.star && !isWide(star, guess)) continue;
      const rise = this.#localSky === null ? 0 : this.#localSky.riseAt(peaks[i]!, 4 * star.sky, 2 * star.sigma) / 4;
      if (rise > 0) {
        const amplitude = smoothed(sums.values, peaks[i]!, sums.width) - kernelSum * 4 * (star.sky + rise);
        if (amplitude < detectionSigma * kernelSigma * 2 * star.sigma) kinds[i] = looks.nothing;
        else kinds[i] = this.#look(peaks[i]!, guess, radius, star, rise) ? looks.star : looks.hot;
      }
      if (kinds[i] === looks.hot) this.#hotPixels++;
    }
  }

  /**
   * A hot pixel outshines a faint star near it, or draws a bright one aside. Where one was found it is mended in the
   * copy of the frame that is measured, and what stands out there is looked at anew, once.
   * @returns the peaks that were looked at again; their records follow those of `peaks`
   */
  #lookBesideHotPixels(peaks: Int32Array, guess: Shape, radius: number): Int32Array {
    const { source, sums, side } = this.#level;
    const { kinds, peaks: room } = this.#space;
    const none = peaks.subarray(0, 0);
    // Sums are sums of fewer hot pixels, and finer levels may still want them as they are.
    if (side > 1 || room.buffer !== peaks.buffer) return none;
    const changes: Changed[] = [];
    const mended: number[] = [];
    for (let i = 0; i < peaks.length; i++) {
      if (kinds[i] !== looks.hot) continue;
      const { sky, sigma } = this.#record(i);
      mended.push(mendHotPixel(source, sums, peaks[i]!, sky));
      changes.push({ at: peaks[i]!, level: 4 * sky, sigma: 2 * sigma });
    }
    if (mended.length === 0) return none;
    // Beyond, a pixel has no weight.
    const reach = (3 * Math.sqrt(Math.max(guess.xx, guess.yy)) + 1) / 2;
    const stale = new Uint8Array(peaks.length);
    const found = peaksAgain(sums, changes, peaks, reach, detectionSigma, stale);
    const again = room.subarray(peaks.length, peaks.length + found.length);
    again.set(found.subarray(0, again.length));
    for (let i = 0; i < stale.length; i++) if (stale[i] === 1) kinds[i] = looks.nothing;
    const hotBefore = this.#hotPixels;
    this.#lookAtAll(again, peaks.length, guess, radius);
    // What looks hot again is what a first hot pixel left: it was counted.
    this.#hotPixels = hotBefore;
    const stars = Array.from(again, (_, i) => this.#record(peaks.length + i)).filter(
      (_, i) => kinds[peaks.length + i] === looks.star,
    );
    markMended(stars, mended, source.width, 2 * sigmaOf(guess));
    return again;
  }

  /**
   * Looks for faint stars near bright ones where stars are so sharp that sums and their smoothing blur them.
   * @param again - peaks looked at after `peaks`; their records follow
   * @returns those, and after them the new ones, whose records follow in turn
   */
  #lookBesideStars(peaks: Int32Array, again: Int32Array, guess: Shape, radius: number): Int32Array {
    const { sums, side } = this.#level;
    const { kinds, peaks: room } = this.#space;
    if (side > 1 || room.buffer !== peaks.buffer || sigmaOf(guess) > sharp) return again;
    const known = peaks.length + again.length;
    const close: number[] = [];
    const star = this.#record(0);
    const { stars } = this.#space;
    // A first guess of what is bright, without asking for each star's noise.
    const least = (bright * this.#background.medianSigma) / 4;
    for (let i = 0; i < known; i++) {
      if (kinds[i] !== looks.star || !(stars[i * numbersPerStar + peakNumber]! > least)) continue;
      star.moveTo(i);
      if (star.peak > bright * star.sigma && (star.flags & starFlags.saturated) === 0) closePeaks(sums, star, close);
    }
    const nearOld = new NearPeaks(peaks, sums);
    const nearAgain = new NearPeaks(again, sums);
    const unknown = close.filter((at) => !nearOld.has(at) && !nearAgain.has(at));
    const found = Int32Array.from(new Set(unknown)).sort();
    const more = room.subarray(known, known + found.length);
    more.set(found.subarray(0, more.length));
    this.#lookAtAll(more, known, guess, radius);
    return room.subarray(peaks.length, known + more.length);
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
    star.rise = 0;
  }

  /**
   * Measures place and shape of what made a peak.
   * @param rise - of the sky right around above the map of the sky
   * @returns false: a hot pixel
   */
  #look(at: number, guess: Shape, radius: number, star: StarRecord, rise = 0): boolean {
    const sigma = sigmaOf(guess);
    const { source, sums } = this.#level;
    const stamp = this.#stamp;
    this.#skyUnder(at, star);
    star.rise = rise;
    star.sky += rise;
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
