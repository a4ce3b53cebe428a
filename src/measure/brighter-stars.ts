import { type Star, starFlags } from "./star.js";

const fwhmPerSigma = 2.3548;
/** Wings are followed out to this many FWHM, and no farther than so many pixels. */
const reachInFwhm = 10;
const mostReach = 64;
/** Inside this many squared standard deviations a place is the star's own. */
const own = 2.5;
/** Squared scale of a Moffat profile with beta 2.5, in squared standard deviations of its core. */
const alpha2PerSigma2 = 4.2;
/** The recorded peak of a saturated star is lower than its true one by such a factor. */
const cutPeak = 3;
/** Numbers kept of a star: place, inverse covariance, peak. */
const numbers = 6;

/** The stars kept so far, to ask what their light is at a place. */
export class BrighterStars {
  readonly #sigma2: number;
  readonly #reach: number;
  readonly #cell: number;
  readonly #across: number;
  readonly #down: number;
  readonly #first: Int32Array;
  readonly #next: Int32Array;
  readonly #known: Float64Array;
  #count = 0;

  /**
   * @param sigma - standard deviation of the typical star
   * @param room - most stars that will be added
   */
  constructor(width: number, height: number, sigma: number, room: number) {
    this.#sigma2 = sigma * sigma;
    this.#reach = Math.min(mostReach, reachInFwhm * fwhmPerSigma * sigma);
    this.#cell = Math.max(12, this.#reach / 2);
    this.#across = Math.max(1, Math.ceil(width / this.#cell));
    this.#down = Math.max(1, Math.ceil(height / this.#cell));
    this.#first = new Int32Array(this.#across * this.#down).fill(-1);
    this.#next = new Int32Array(room);
    this.#known = new Float64Array(numbers * room);
  }

  add(star: Star): void {
    const cell = this.#row(star.y) * this.#across + this.#column(star.x);
    const index = this.#count++;
    this.#next[index] = this.#first[cell]!;
    this.#first[cell] = index;
    const known = this.#known;
    const at = numbers * index;
    const determinant = star.xx * star.yy - star.xy * star.xy;
    const shaped = determinant > 0;
    known[at] = star.x;
    known[at + 1] = star.y;
    known[at + 2] = shaped ? star.yy / determinant : 1 / this.#sigma2;
    known[at + 3] = shaped ? -star.xy / determinant : 0;
    known[at + 4] = shaped ? star.xx / determinant : 1 / this.#sigma2;
    known[at + 5] = (star.flags & starFlags.saturated ? cutPeak : 1) * star.peak;
  }

  /**
   * What the wings of the stars add at a place, taken for those of a Moffat profile with beta 2.5, which are wider than
   * those of most stars; Infinity inside a star's own shape.
   */
  lightAt(x: number, y: number): number {
    const known = this.#known;
    const next = this.#next;
    const first = this.#first;
    const across = this.#across;
    const reach = this.#reach;
    const limit = reach * reach;
    const perAlpha2 = 1 / (alpha2PerSigma2 * this.#sigma2);
    const from = this.#column(x - reach);
    const to = this.#column(x + reach);
    let light = 0;
    for (let row = this.#row(y - reach), last = this.#row(y + reach); row <= last; row++)
      for (let cell = row * across + from, end = row * across + to; cell <= end; cell++)
        for (let i = first[cell]!; i >= 0; i = next[i]!) {
          const at = numbers * i;
          const dx = known[at]! - x;
          const dy = known[at + 1]! - y;
          const distance2 = dx * dx + dy * dy;
          if (!(distance2 <= limit)) continue;
          if (known[at + 2]! * dx * dx + 2 * known[at + 3]! * dx * dy + known[at + 4]! * dy * dy < own)
            return Number.POSITIVE_INFINITY;
          const u = 1 + distance2 * perAlpha2;
          light += known[at + 5]! / (u * u * Math.sqrt(u));
        }
    return light;
  }

  #column(x: number): number {
    return Math.max(0, Math.min(this.#across - 1, Math.floor(x / this.#cell)));
  }

  #row(y: number): number {
    return Math.max(0, Math.min(this.#down - 1, Math.floor(y / this.#cell)));
  }
}
