import type { Star } from "./star.js";

/** Numbers of a record; kernels know their order. */
export const numbersPerStar = 14;
/** Place of a star's peak among them. */
export const peakNumber = 5;

/**
 * A star whose numbers stand in a row of an array, where kernels fill them in too. Objects with a dozen numbers of their
 * own, some ten thousand a frame, would cost more time to make and to collect than the stars take to measure.
 */
export class StarRecord implements Star {
  readonly #numbers: Float64Array;
  #at: number;

  /** @param index - number of the record in the array */
  constructor(numbers: Float64Array, index: number) {
    this.#numbers = numbers;
    this.#at = index * numbersPerStar;
  }

  get x(): number {
    return this.#numbers[this.#at]!;
  }
  set x(value: number) {
    this.#numbers[this.#at] = value;
  }
  get y(): number {
    return this.#numbers[this.#at + 1]!;
  }
  set y(value: number) {
    this.#numbers[this.#at + 1] = value;
  }
  get xx(): number {
    return this.#numbers[this.#at + 2]!;
  }
  set xx(value: number) {
    this.#numbers[this.#at + 2] = value;
  }
  get xy(): number {
    return this.#numbers[this.#at + 3]!;
  }
  set xy(value: number) {
    this.#numbers[this.#at + 3] = value;
  }
  get yy(): number {
    return this.#numbers[this.#at + 4]!;
  }
  set yy(value: number) {
    this.#numbers[this.#at + 4] = value;
  }
  get peak(): number {
    return this.#numbers[this.#at + 5]!;
  }
  set peak(value: number) {
    this.#numbers[this.#at + 5] = value;
  }
  get sky(): number {
    return this.#numbers[this.#at + 6]!;
  }
  set sky(value: number) {
    this.#numbers[this.#at + 6] = value;
  }
  get sigma(): number {
    return this.#numbers[this.#at + 7]!;
  }
  set sigma(value: number) {
    this.#numbers[this.#at + 7] = value;
  }
  get flux(): number {
    return this.#numbers[this.#at + 8]!;
  }
  set flux(value: number) {
    this.#numbers[this.#at + 8] = value;
  }
  get fluxError(): number {
    return this.#numbers[this.#at + 9]!;
  }
  set fluxError(value: number) {
    this.#numbers[this.#at + 9] = value;
  }
  get hfr(): number {
    return this.#numbers[this.#at + 10]!;
  }
  set hfr(value: number) {
    this.#numbers[this.#at + 10] = value;
  }
  get flags(): number {
    return this.#numbers[this.#at + 11]!;
  }
  set flags(value: number) {
    this.#numbers[this.#at + 11] = value;
  }
  /** NaN: not measured. */
  get apertureRatio(): number {
    return this.#numbers[this.#at + 12]!;
  }
  set apertureRatio(value: number) {
    this.#numbers[this.#at + 12] = value;
  }
  /** What the sky right around lies above the map of the sky; it is part of `sky`. */
  get rise(): number {
    return this.#numbers[this.#at + 13]!;
  }
  set rise(value: number) {
    this.#numbers[this.#at + 13] = value;
  }

  /** Stands for another record of the array from now on. */
  moveTo(index: number): this {
    this.#at = index * numbersPerStar;
    return this;
  }

  /** Takes over the numbers of a record. */
  take(numbers: Float64Array, index: number): void {
    const from = index * numbersPerStar;
    const to = this.#at;
    const own = this.#numbers;
    for (let k = 0; k < numbersPerStar; k++) own[to + k] = numbers[from + k]!;
  }

  /** As before its light is measured. */
  clear(): void {
    for (let k = 0; k < numbersPerStar; k++) this.#numbers[this.#at + k] = Number.NaN;
    this.#numbers[this.#at + 11] = 0;
  }
}
