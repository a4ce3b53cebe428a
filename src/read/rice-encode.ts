import { type RiceBytes, riceParameters } from "./rice.js";

/**
 * Encodes integers as RICE_1 (FITS Standard 4.0, section 10.4.1), for files that are written (simulated nights).
 * @param values - integers that fit the pixel size
 * @param blockSize - pixels that share a split size
 * @returns the code of one tile
 */
export function riceEncode(values: ArrayLike<number>, bytesPerPixel: RiceBytes, blockSize = 32): Uint8Array {
  const { bits, raw } = riceParameters[bytesPerPixel];
  const width = 8 * bytesPerPixel;
  const shift = 32 - width;
  // A raw block costs its split size more than the pixels themselves, so this is always enough.
  const code = new Uint8Array(values.length * bytesPerPixel + Math.ceil(values.length / blockSize) + 2 * bytesPerPixel);
  let at = 0;
  // `held` has the `waiting` bits, fewer than 8, that do not make a byte yet.
  let held = 0;
  let waiting = 0;
  /** Writes up to 24 bits. */
  const put = (value: number, count: number) => {
    held = (held << count) | value;
    waiting += count;
    while (waiting >= 8) {
      waiting -= 8;
      code[at++] = held >>> waiting;
    }
    held &= (1 << waiting) - 1;
  };
  const putPixel = (value: number) => {
    if (width === 32) put(value >>> 16, 16);
    put(width === 8 ? value & 0xff : value & 0xffff, Math.min(width, 16));
  };
  let last = values.length > 0 ? values[0]! : 0;
  putPixel(last);
  const folded = new Float64Array(blockSize);
  for (let from = 0; from < values.length; from += blockSize) {
    const n = Math.min(blockSize, values.length - from);
    let sum = 0;
    for (let i = 0; i < n; i++) {
      const value = values[from + i]!;
      // The difference wraps to the pixel's width, so that it always has a place.
      const difference = ((value - last) << shift) >> shift;
      folded[i] = (difference < 0 ? -2 * difference - 1 : 2 * difference) >>> 0;
      sum += folded[i]!;
      last = value;
    }
    if (sum === 0) {
      put(0, bits);
      continue;
    }
    const split = splitFor(sum, n, raw);
    put(split + 1, bits);
    if (split === raw) {
      for (let i = 0; i < n; i++) putPixel(folded[i]!);
      continue;
    }
    const remainders = (1 << split) - 1;
    for (let i = 0; i < n; i++) {
      const value = folded[i]!;
      let zeros = value >>> split;
      for (; zeros > 22; zeros -= 22) put(0, 22);
      put(1, zeros + 1);
      put(value & remainders, split);
    }
  }
  if (waiting > 0) code[at++] = held << (8 - waiting);
  return code.slice(0, at);
}

/** The split size that the mean of a block suggests; `raw` where storing the pixels as they are is shorter. */
function splitFor(sum: number, n: number, raw: number): number {
  const mean = (sum - Math.floor(n / 2) - 1) / n;
  let split = 0;
  for (let rest = Math.floor(Math.max(mean, 0)) >>> 1; rest > 0; rest >>>= 1) split++;
  return Math.min(split, raw);
}
