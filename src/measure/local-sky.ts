import { kernelSum, smoothed } from "./find-peaks.js";
import type { SumPlane } from "./frame-buffers.js";

const fwhmPerSigma = 2.3548;
/** Pairs of opposite places on the ring; a quarter of them are asked first. */
const pairs = 12;
/** The third smallest of a dozen normal numbers lies this far below their mean, on average, in standard deviations. */
const lowOfPairs = 0.79;
const low = 2;
/** By how many sigma of a sum the sky must rise to be believed. */
const leastRise = 1;
/** Of a star so many times as bright the ring sees the wings. */
const mostContrast = 20;

/**
 * How much the sky right around a peak lies above the map of the sky, whose meshes are wider than knots and edges of
 * nebula: what stands out there must stand out of its surroundings. Opposite places on a ring are averaged, so that a
 * slope does not matter, and the lower ones count, so that stars on the ring do not.
 */
export class LocalSky {
  readonly #values: Float32Array;
  readonly #width: number;
  readonly #reach: number;
  readonly #lastX: number;
  readonly #lastRow: number;
  readonly #offsets: Int32Array;
  readonly #means = new Float64Array(pairs);

  /** @param sigma - standard deviation of the typical star along its longer axis, pixels of the level, half a sum each */
  constructor({ values, width, height }: SumPlane, sigma: number) {
    this.#values = values;
    this.#width = width;
    const radius = 1.1 * fwhmPerSigma * sigma + 1.5;
    this.#reach = Math.ceil(radius);
    this.#lastX = width - this.#reach;
    this.#lastRow = (height - this.#reach) * width;
    this.#offsets = Int32Array.from({ length: pairs }, (_, i) => {
      const angle = (Math.PI * i) / pairs;
      return Math.round(radius * Math.sin(angle)) * width + Math.round(radius * Math.cos(angle));
    });
  }

  /**
   * @param at - index of the peak in the sums
   * @param level - sky of a sum by the map, and its scatter
   * @returns the rise of a sum; 0 where it cannot be told from none
   */
  riseAt(at: number, level: number, sigma: number): number {
    const values = this.#values;
    const offsets = this.#offsets;
    const clear = level + 0.5 * sigma;
    // Most peaks are told by the first few places.
    if (at < this.#reach * this.#width || at >= this.#lastRow) return 0;
    let dark = 0;
    for (let i = 0; i < pairs; i += 3) {
      const offset = offsets[i]!;
      if (!(values[at + offset]! > clear)) dark++;
      if (!(values[at - offset]! > clear)) dark++;
      if (dark > 2) return 0;
    }
    const x = at % this.#width;
    if (x < this.#reach || x >= this.#lastX) return 0;
    const means = this.#means;
    for (let i = 0; i < pairs; i++) {
      const mean = (values[at + offsets[i]!]! + values[at - offsets[i]!]!) / 2;
      let k = i;
      for (; k > 0 && means[k - 1]! > mean; k--) means[k] = means[k - 1]!;
      means[k] = mean;
    }
    const rise = means[low]! + lowOfPairs * Math.SQRT1_2 * sigma - level;
    if (!(rise > leastRise * sigma)) return 0;
    return smoothed(values, at, this.#width) / kernelSum - level < mostContrast * rise ? rise : 0;
  }
}
