import { descendingOrder } from "../numbers/order.js";
import { medianAndSigma } from "../numbers/robust.js";
import type { Background } from "./background.js";
import { sumBlocksFloat } from "./block-sums.js";
import { findPeaks, kernelSigma, kernelSum, smoothed } from "./find-peaks.js";
import { type FrameBuffers, type SumPlane, sumPlane } from "./frame-buffers.js";
import type { Mosaic } from "./mosaic.js";
import type { Workspace } from "./simd/workspace.js";
import type { Source } from "./stamp.js";

/** How coarsely a frame's stars are looked at: on its pixels (side 1), or on sums of 2, 4, 8 pixels squared. */
export interface Level {
  /** Pixels of the frame on a side of this level's pixel: 1, 2, 4 or 8. */
  readonly side: number;
  /** Where shapes are measured. */
  readonly source: Source;
  /** Where stars are found: sums of 2 x 2 of the source's pixels. */
  readonly sums: SumPlane;
}

/** Peaks that stand out of the smoothed sky by this many sigma are looked at. */
export const detectionSigma = 5;
const coarsest = 3;
const brightest = 30;
/** Peaks nearer to a stronger one than this, in sums, do not count for the choice of the level. */
const apart = 24;

/** The levels of a frame, each made when it is first asked for. */
export class Levels {
  readonly #buffers: FrameBuffers;
  readonly #mosaic: Mosaic | null;
  readonly #planes: SumPlane[];
  readonly #unrest = new Map<number, { offset: number; sigma: number }>();

  constructor(buffers: FrameBuffers, mosaic: Mosaic | null) {
    this.#buffers = buffers;
    this.#mosaic = mosaic;
    this.#planes = [buffers.sums];
  }

  /** Number of levels that leave an image worth looking at. */
  get count(): number {
    const smallest = Math.min(this.#buffers.width, this.#buffers.height);
    let levels = 1;
    while (levels <= coarsest && smallest >> (levels + 1) >= 16) levels++;
    return levels;
  }

  level(index: number): Level {
    const { width, height, pixels } = this.#buffers;
    const source =
      index === 0
        ? { width, height, values: pixels, mosaic: this.#mosaic }
        : { ...this.#plane(index - 1), mosaic: null };
    return { side: 2 ** index, source, sums: this.#plane(index) };
  }

  #plane(index: number): SumPlane {
    while (this.#planes.length <= index) {
      const finer = this.#planes.at(-1)!;
      const kept = this.#buffers.coarser;
      const place = this.#planes.length - 1;
      kept[place] ??= sumPlane(finer.width >> 1, finer.height >> 1);
      const coarser = kept[place];
      this.#sumBlocks(finer, coarser);
      this.#planes.push(coarser);
    }
    return this.#planes[index]!;
  }

  /** Sums of 16-bit pixels are exact in whatever order they are added. */
  #sumBlocks(finer: SumPlane, { values }: SumPlane): void {
    const { pixels, workspace: space } = this.#buffers;
    const { buffer } = space.sums;
    if (
      space.kernels !== null &&
      pixels instanceof Uint16Array &&
      finer.values.buffer === buffer &&
      values.buffer === buffer
    )
      space.kernels.sumRowsFloat(finer.values.byteOffset, finer.width, finer.height >> 1, values.byteOffset);
    else sumBlocksFloat(finer.values, finer.width, 0, finer.height & ~1, values);
  }

  /** Where what is found on these levels may be kept. */
  get space(): Workspace {
    return this.#buffers.workspace;
  }

  /**
   * The level on which the brightest stars stand out most. Light that a sharp star puts on a few pixels is diluted on a
   * coarser level; that of a star far out of focus is gathered. Stars decide by majority.
   * @returns also how many peaks of the finest level are in the buffers; -1 when they are of another level
   */
  best(background: Background): { readonly index: number; readonly peaks: number } {
    const { workspace: space, peaks } = this.#buffers;
    const finest = this.#buffers.sums;
    const found = findPeaks(finest, background, 1, detectionSigma, space);
    const bright = strongestPeaks(finest, background.medianLevel, peaks, found, brightest, 0.5);
    if (bright.length === 0) return { index: this.#brightestAlone(background), peaks: -1 };
    let best = 0;
    for (let index = 1; index < this.count; index++) {
      const gains = bright.filter((at) => this.#gain(background, at, best, index) > 1.25).length;
      if (2 * gains > bright.length) best = index;
    }
    return { index: best, peaks: found };
  }

  /** Nothing stands out on the finest level: perhaps very wide stars do on a coarser one. */
  #brightestAlone(background: Background): number {
    const { workspace: space, peaks } = this.#buffers;
    for (let index = 1; index < this.count; index++) {
      const plane = this.#plane(index);
      const found = findPeaks(plane, background, 4 ** index, 7, space);
      if (strongestPeaks(plane, background.medianLevel * 4 ** index, peaks, found, 1, 1).length > 0) return index;
    }
    return 0;
  }

  /** Signal to noise around a place of the finest sums on one level, divided by that on another. */
  #gain(background: Background, at: number, from: number, to: number): number {
    const { width } = this.#buffers.sums;
    const x = at % width;
    const y = Math.floor(at / width);
    return this.#standsOut(background, x, y, to) / this.#standsOut(background, x, y, from);
  }

  /**
   * How much a level varies where there are no stars: more than its noise over a nebula, whose glow gathers on coarser
   * levels as a wide star's light does. Median and spread of the smoothed level above the sky.
   */
  #unrestOf(background: Background, index: number): { offset: number; sigma: number } {
    const known = this.#unrest.get(index);
    if (known !== undefined) return known;
    const { values, width, height } = this.#plane(index);
    const scale = 4 ** index;
    const step = Math.max(1, Math.floor(Math.sqrt((width * height) / 4000)));
    const above: number[] = [];
    for (let y = 1; y < height - 1; y += step)
      for (let x = 1; x < width - 1; x += step) {
        const sky = background.level.at(x * 2 ** index, y * 2 ** index) * scale * kernelSum;
        above.push(smoothed(values, y * width + x, width) - sky);
      }
    const { median, sigma } = medianAndSigma(above);
    const unrest = index === 0 ? { offset: 0, sigma: 0 } : { offset: median, sigma };
    this.#unrest.set(index, unrest);
    return unrest;
  }

  #standsOut(background: Background, x: number, y: number, index: number): number {
    const plane = this.#plane(index);
    const scale = 4 ** index;
    const middleX = Math.floor(x / 2 ** index);
    const middleY = Math.floor(y / 2 ** index);
    const unrest = this.#unrestOf(background, index);
    const sky = background.level.at(x, y) * scale * kernelSum + unrest.offset;
    const sigma = Math.max(background.sigma.within(x, y) * Math.sqrt(scale) * kernelSigma, unrest.sigma);
    // A ring's middle may lie several pixels from its brightest place.
    const reach = index === 0 ? 0 : 2;
    let most = 1;
    for (let py = Math.max(1, middleY - reach); py <= Math.min(plane.height - 2, middleY + reach); py++)
      for (let px = Math.max(1, middleX - reach); px <= Math.min(plane.width - 2, middleX + reach); px++) {
        const here = (smoothed(plane.values, py * plane.width + px, plane.width) - sky) / sigma;
        if (here > most) most = here;
      }
    return most;
  }
}

/**
 * The strongest peaks that are no single hot pixels, strongest first.
 * @param spread - the four values beside a peak must sum up to this share of it
 */
function strongestPeaks(
  { values, width }: SumPlane,
  sky: number,
  peaks: Int32Array,
  found: number,
  most: number,
  spread: number,
): number[] {
  const strengths = new Float64Array(found);
  for (let i = 0; i < found; i++) strengths[i] = smoothed(values, peaks[i]!, width);
  // One vote a star: ripples on the wings of a bright one, and the many peaks of a ring, belong together.
  const kept: { readonly at: number; readonly x: number; readonly y: number }[] = [];
  for (const i of descendingOrder(strengths)) {
    if (kept.length === most) break;
    const at = peaks[i]!;
    const single = values[at]! - sky;
    const near = values[at - 1]! + values[at + 1]! + values[at - width]! + values[at + width]! - 4 * sky;
    if (!(near > spread * single)) continue;
    const peak = { at, x: at % width, y: Math.floor(at / width) };
    if (kept.every(({ x, y }) => Math.hypot(x - peak.x, y - peak.y) > apart)) kept.push(peak);
  }
  return kept.map(({ at }) => at);
}
