const count = 10000;
let table: Float64Array | undefined;

/**
 * The 10,000 random numbers of the standard (FITS Standard 4.0, appendix I: Park & Miller, seed 1, rounded to single
 * precision as the files were written with).
 */
export function ditherNumbers(): Float64Array {
  if (table !== undefined) return table;
  table = new Float64Array(count);
  let seed = 1;
  for (let i = 0; i < count; i++) {
    seed = (seed * 16807) % 2147483647; // exact: the product stays below 2^53
    table[i] = Math.fround(seed / 2147483647);
  }
  return table;
}

/** How quantised floats were written. */
export interface Quantisation {
  readonly method: "none" | "dither-1" | "dither-2";
  /** ZDITHER0. */
  readonly seed: number;
}

/** What the header may call them; an absent ZQUANTIZ means no dither. */
export const zquantizNames: Readonly<Record<string, Quantisation["method"]>> = {
  "": "none",
  NONE: "none",
  NO_DITHER: "none",
  SUBTRACTIVE_DITHER_1: "dither-1",
  SUBTRACTIVE_DITHER_2: "dither-2",
};

/** What stands for an exact zero under the second dither: -2147483646 in files, -2147483647 in the text of the standard. */
const mostExactZero = -2147483646;

/**
 * Turns quantised integers back into floats (section 10.2): (stored - random + 0.5) x scale + zero.
 * @param tile - number of the tile, from 0
 * @param blank - the stored integer that means NaN; NaN where there is none
 */
export function unquantise(
  { method, seed }: Quantisation,
  tile: number,
  stored: ArrayLike<number>,
  length: number,
  scale: number,
  zero: number,
  blank: number,
  into: Float64Array,
): void {
  if (method === "none") {
    for (let i = 0; i < length; i++) into[i] = stored[i] === blank ? Number.NaN : stored[i]! * scale + zero;
    return;
  }
  const numbers = ditherNumbers();
  let first = (((tile + seed - 1) % count) + count) % count;
  let next = Math.floor(numbers[first]! * 500);
  for (let i = 0; i < length; i++) {
    const value = stored[i]!;
    if (value === blank) into[i] = Number.NaN;
    else if (value <= mostExactZero && value > -2147483648 && method === "dither-2") into[i] = 0;
    else into[i] = (value - numbers[next]! + 0.5) * scale + zero;
    if (++next === count) {
      first = (first + 1) % count;
      next = Math.floor(numbers[first]! * 500);
    }
  }
}
