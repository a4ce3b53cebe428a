import type { PixelReader } from "../read/pixels.js";
import { type Background, measureBackground } from "./background.js";
import { type BlockedMap, blockedFraction, blockedMap } from "./blocked.js";
import { findPeaks } from "./find-peaks.js";
import { type Found, StarFinder } from "./find-stars.js";
import type { FrameBuffers } from "./frame-buffers.js";
import { detectionSigma, type Level, Levels } from "./levels.js";
import { loadFrame } from "./load-frame.js";
import { measureStars } from "./measure-stars.js";
import { greenParityOf, measureMosaic } from "./mosaic.js";
import { pixelNoise } from "./pixel-noise.js";
import { measureSaturation } from "./saturation.js";
import { brightStreaks, faintStreaks } from "./search-streaks.js";
import { type Star, type StarList, starFlags, starList } from "./star.js";
import { isCompact } from "./streak-points.js";
import { isOnStreak, type Streak } from "./streaks.js";
import { fieldSpread, measureZones, type Zones } from "./zones.js";

/** What is known of a frame besides its pixels. */
export interface MeasureOptions {
  /** Colour mosaic as stored, first row first, for example RGGB; empty or absent: mono. */
  readonly bayer?: string;
  /** Gain, electrons per ADU; NaN or absent: not known. */
  readonly electronsPerAdu?: number;
  /** Value at which the sensor saturates; NaN or absent: looked for in the frame. */
  readonly saturationAdu?: number;
  /** Buffers of an earlier frame of the same size, to be used again. */
  readonly scratch?: FrameBuffers;
}

/** What a frame's pixels say. NaN: could not be measured; `notes` says why. */
export interface FrameMeasurement {
  readonly width: number;
  readonly height: number;
  /** Median sky level, pedestal included. */
  readonly backgroundAdu: number;
  /** Standard deviation of the sky, one pixel. */
  readonly noiseAdu: number;
  /** Range of the sky level across the frame divided by the noise of a pixel. */
  readonly backgroundGradient: number;
  /** Stars with a signal to noise of 7 and more, without what is clearly wider than a star. */
  readonly starCount: number;
  /** Geometric mean of both axes, pixel width removed; median over the fitted stars. */
  readonly fwhmPx: number;
  readonly fwhmErrorPx: number;
  /** Exponent of the Moffat profile. */
  readonly beta: number;
  /** Radius with half of a star's light, as recorded. */
  readonly hfrPx: number;
  /** sqrt(1 - (b/a)^2), freed of what noise adds. */
  readonly eccentricity: number;
  /** Direction of the longer axis from +x towards +y, 0 to 180; NaN when stars share none. */
  readonly elongationAngleDeg: number;
  /** Largest less smallest FWHM of the zones, divided by the frame's. */
  readonly fieldSpread: number;
  readonly zones: Zones;
  readonly saturatedFraction: number;
  readonly hotPixels: number;
  readonly streaks: { readonly count: number; readonly list: readonly Streak[] };
  readonly blockedFraction: number;
  /** Where it is; null without a sky level. */
  readonly blocked: BlockedMap | null;
  readonly stars: StarList;
  readonly notes: readonly string[];
  /** The buffers, to be handed to the next frame as `scratch`. */
  readonly scratch: FrameBuffers;
}

const countedSnr = 7;
/** Stars must be this wide (standard deviation, pixels of the level) to be measured on a coarser level. */
const leastSigma = 1.5;

/**
 * Measures a frame: sky, noise, stars, their widths and shapes, and what spoils it.
 * @param reader - the image; of a cube of three planes the middle one is measured, of any other cube the first
 * @returns positions with x to the right and y in stored row order, 0 at the centre of the first pixel
 * @throws FitsError when the data are damaged
 * @example
 * ```ts
 * import { firstImage, measureFrame, openFile, openPixels } from "nightyield";
 * const source = openFile("subs/NGC6888_L_30s_0002.fits.fz");
 * const image = firstImage(source);
 * console.log(measureFrame(openPixels(image.source, image.hdu)).fwhmPx, "px");
 * source.close();
 * ```
 */
export function measureFrame(reader: PixelReader, options: MeasureOptions = {}): FrameMeasurement {
  const notes: string[] = [];
  const plane = reader.planes === 3 ? 1 : 0;
  if (reader.planes > 1) notes.push(`the image has ${reader.planes} planes: plane ${plane + 1} was measured`);
  const buffers = loadFrame(reader, plane, options.scratch);
  const wholeNumbers = !reader.type.startsWith("float");
  const background = measureBackground(buffers, wholeNumbers);
  const noise = pixelNoise(buffers, background, wholeNumbers);
  const sky = background.medianLevel / 4;
  if (!(noise > 0)) notes.push("the frame is constant or has no values: no sky noise could be measured");
  const saturation = measureSaturation(buffers, options.saturationAdu ?? Number.NaN);
  const parity = greenParityOf(options.bayer ?? "");
  if (parity === null && (options.bayer ?? "").trim() !== "")
    notes.push(`the colour pattern ${options.bayer} is not known: measured as a mono frame`);
  const mosaic = parity === null ? null : measureMosaic(buffers, parity);
  const levels = new Levels(buffers, mosaic);
  const bright = brightStreaks(levels, background);
  const { level, found } = findOnBestLevel(levels, background, 0.9 * saturation.levelAdu, buffers, bright);
  if (level.side > 1) notes.push(`stars are very wide: measured on sums of ${level.side} x ${level.side} pixels`);
  const streaks = [...bright, ...(level.side > 1 ? [] : faintStreaks(levels, background, found, bright))];
  const isStar = (star: Star) =>
    isCompact(star, found.typical) || !streaks.some((streak) => isOnStreak(star.x, star.y, streak));
  const stars = streaks.length === 0 ? found.stars : found.stars.filter(isStar);
  const light = measureStars(
    { ...found, stars },
    levels,
    level,
    buffers.stamp,
    variancePerAdu(options, sky, noise, notes),
    notes,
  );
  const { side } = level;
  const fwhmPx = light.width.fwhm * side;
  const counted = stars.filter(counts);
  const blocked = blockedMap(background, buffers.sums, counted, side);
  const zones = measureZones(light.good, level.source.width, level.source.height, fwhmPx);
  return {
    width: reader.width,
    height: reader.height,
    backgroundAdu: sky,
    noiseAdu: noise,
    backgroundGradient: background.level.range(0.02, 0.98) / 4 / noise,
    starCount: counted.length,
    fwhmPx,
    fwhmErrorPx: light.width.fwhmError * side,
    beta: light.width.beta,
    hfrPx: light.hfr * side,
    ...light.elongation,
    fieldSpread: fieldSpread(zones, fwhmPx),
    zones,
    saturatedFraction: saturation.fraction,
    hotPixels: found.hotPixels,
    streaks: { count: streaks.length, list: streaks },
    blockedFraction: blockedFraction(blocked),
    blocked,
    stars: starList(stars, side),
    notes,
    scratch: buffers,
  };
}

/** Finds stars on the level that suits them; one finer when they turn out sharper than that level's pixels. */
function findOnBestLevel(
  levels: Levels,
  background: Background,
  saturation: number,
  { workspace, peaks, stamp }: FrameBuffers,
  streaks: readonly Streak[],
): { level: Level; found: Found } {
  const best = background.medianSigma > 0 ? levels.best(background) : { index: 0, peaks: 0 };
  for (let index = best.index, known = best.peaks; ; index--, known = -1) {
    const level = levels.level(index);
    const area = level.side * level.side;
    const count =
      index === 0 && known >= 0 ? known : findPeaks(level.sums, background, area, detectionSigma, workspace);
    const kept = offStreaks(peaks.subarray(0, count), level, streaks);
    const found = new StarFinder(level, background, saturation * area, stamp, workspace).find(kept);
    const { xx, xy, yy } = found.typical;
    if (index === 0 || (xx * yy - xy * xy) ** 0.25 > leastSigma) return { level, found };
  }
}

/** Moves the peaks that lie on no streak to the front of their array, in the same order. */
function offStreaks(peaks: Int32Array, { side, sums }: Level, streaks: readonly Streak[]): Int32Array {
  if (streaks.length === 0) return peaks;
  let kept = 0;
  for (const at of peaks) {
    const x = ((at % sums.width) + 0.5) * 2 * side - 0.5;
    const y = (Math.floor(at / sums.width) + 0.5) * 2 * side - 0.5;
    if (!streaks.some((streak) => isOnStreak(x, y, streak))) peaks[kept++] = at;
  }
  return peaks.subarray(0, kept);
}

/** Variance that each ADU of starlight adds: 1 / gain. */
function variancePerAdu(options: MeasureOptions, sky: number, noise: number, notes: string[]): number {
  const gain = options.electronsPerAdu ?? Number.NaN;
  if (gain > 0) return 1 / gain;
  notes.push("gain not known: errors of bright stars are estimated from the sky's noise");
  return sky > 0 ? (noise * noise) / sky : noise / 10;
}

const counts = (star: Star) => star.flux >= countedSnr * star.fluxError && (star.flags & starFlags.extended) === 0;
