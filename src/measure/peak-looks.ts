import type { Background } from "./background.js";
import { kernelSigma, kernelSum, smoothed } from "./find-peaks.js";
import { isHotPixel } from "./hot-pixels.js";
import { detectionSigma, type Level } from "./levels.js";
import { LocalSky } from "./local-sky.js";
import { adaptiveMoments, fixedMoments, type Moments } from "./moments.js";
import type { Workspace } from "./simd/workspace.js";
import { cutStamp, mostStampRadius, type Stamp } from "./stamp.js";
import { centroid, missingNear } from "./stamp-places.js";
import { starFlags } from "./star.js";
import { numbersPerStar, StarRecord } from "./star-records.js";
import { isWide, type Shape, sigmaOf } from "./typical-shape.js";

/** Shapes are followed down to this change, or to a part of what noise does to them: about 1.5 / SNR. */
const finestStep = 0.006;
const coarsestStep = 0.06;
const stepInNoise = 0.17;

/** What a look at a peak gives; the same numbers stand in look.as.ts. */
export const looks = { star: 0, hot: 1, unusual: 2, nothing: 3 } as const;

/** Where the kernel finds the balance of a mosaic's channels among the stamp's results; it uses the others. */
const balancePlace = 80;

/** Where stars are kept. */
export type StarSpace = Pick<Workspace, "kernels" | "peaks" | "stars" | "kinds" | "ranked">;

/** The covariance of a round star. */
export const round = (sigma: number): Shape => ({ xx: sigma * sigma, xy: 0, yy: sigma * sigma });

/** Looks at peaks of a level: what made them, where it is, and its shape. */
export class PeakLooks {
  readonly level: Level;
  readonly background: Background;
  readonly space: StarSpace;
  readonly #saturation: number;
  readonly #stamp: Stamp;
  readonly #moments: Moments = { x: 0, y: 0, xx: 0, xy: 0, yy: 0, flux: 0 };
  #localSky: LocalSky | null = null;
  /** Peaks found to be hot pixels or hits of cosmic rays. */
  hotPixels = 0;

  /**
   * @param saturation - value of a pixel of the level that counts as saturated; Infinity: none does
   * @param space - room for a record of each peak and `extraRecords` more
   */
  constructor(level: Level, background: Background, saturation: number, stamp: Stamp, space: StarSpace) {
    this.level = level;
    this.background = background;
    this.space = space;
    this.#saturation = saturation;
    this.#stamp = stamp;
  }

  /** From now on, what looks wide must stand out of the sky right around it, too. */
  knowTypical({ xx, yy }: Shape): void {
    const longest = Math.sqrt(Math.max(xx, yy));
    if (this.level.side === 1 && longest > 0) this.#localSky = new LocalSky(this.level.sums, longest);
  }

  record(index: number): StarRecord {
    return new StarRecord(this.space.stars, index);
  }

  /** Looks at peaks, in the order of the rows; the record of peak i is that numbered `first` + i. */
  atAll(peaks: Int32Array, first: number, guess: Shape, radius: number): void {
    const { kernels } = this.space;
    const kinds = this.space.kinds.subarray(first, first + peaks.length);
    const stars = this.space.stars.subarray(first * numbersPerStar);
    const star = this.record(first);
    const { source, sums, side } = this.level;
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
      if (kinds[i] === looks.unusual) kinds[i] = this.at(peaks[i]!, guess, radius, star) ? looks.star : looks.hot;
      // On a bright ground everything looks wide, and the noise has peaks that look like hot pixels.
      if (kinds[i] === looks.star && !isWide(star, guess)) continue;
      const rise = this.#localSky === null ? 0 : this.#localSky.riseAt(peaks[i]!, 4 * star.sky, 2 * star.sigma) / 4;
      if (rise > 0) {
        const amplitude = smoothed(sums.values, peaks[i]!, sums.width) - kernelSum * 4 * (star.sky + rise);
        if (amplitude < detectionSigma * kernelSigma * 2 * star.sigma) kinds[i] = looks.nothing;
        else kinds[i] = this.at(peaks[i]!, guess, radius, star, rise) ? looks.star : looks.hot;
      }
      if (kinds[i] === looks.hot) this.hotPixels++;
    }
  }

  /**
   * Measures place and shape of what made a peak.
   * @param rise - of the sky right around above the map of the sky
   * @returns false: a hot pixel
   */
  at(at: number, guess: Shape, radius: number, star: StarRecord, rise = 0): boolean {
    const sigma = sigmaOf(guess);
    const { source, sums } = this.level;
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
    if (!saturated && isHotPixel(stamp, peakX, peakY, noise)) return false;
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

  /** Clears a record and fills in level and noise of a pixel of the sky at a peak. */
  #skyUnder(at: number, star: StarRecord): void {
    const { sums, side } = this.level;
    const sumX = at % sums.width;
    const mapX = (sumX + 0.5) * side - 0.5;
    const mapY = ((at - sumX) / sums.width + 0.5) * side - 0.5;
    star.clear();
    star.sky = (this.background.level.at(mapX, mapY) / 4) * side * side;
    star.sigma = (this.background.sigma.within(mapX, mapY) / 2) * side;
    star.rise = 0;
  }
}
