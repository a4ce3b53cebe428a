import { CodeError } from "./code-error.js";

/**
 * Decodes HCOMPRESS_1 (FITS Standard 4.0, section 10.4.4; White, Postman & Lattanzi 1992): the H-transform of an image,
 * its bit planes written as quadtrees of Huffman-coded nibbles, signs at the end.
 * Numbers are doubles throughout, because the transform of 32-bit images outgrows 32 bits.
 * @param code - the compressed bytes of one tile
 * @param width - columns of the tile
 * @param count - pixels in the tile
 * @param smooth - whether the header asks for smoothing of lossy blocks
 * @throws CodeError when the code is damaged
 */
export function hcompressDecode(
  code: Uint8Array,
  width: number,
  count: number,
  smooth: boolean,
  into: Float64Array,
): void {
  if (code.length < 25) throw new CodeError("the HCOMPRESS code is too short for its header");
  if (code[0] !== 0xdd || code[1] !== 0x99)
    throw new CodeError("the HCOMPRESS code does not start with its mark DD 99");
  const head = new DataView(code.buffer, code.byteOffset, code.byteLength);
  const rows = head.getInt32(2);
  const columns = head.getInt32(6);
  const scale = head.getInt32(10);
  const sum = Number(head.getBigInt64(14));
  // A tile one pixel wide may be written as the plane of its other two axes.
  if (rows < 1 || columns < 1 || rows * columns !== count || (columns !== width && width !== 1))
    throw new CodeError(
      `the HCOMPRESS code is of ${columns} x ${rows} pixels, the tile of ${width} x ${count / width}`,
    );
  const grid = into.subarray(0, count);
  grid.fill(0);
  const bits = new BitReader(code, 25);
  const upper = (rows + 1) >> 1;
  const left = (columns + 1) >> 1;
  const planes = [code[22]!, code[23]!, code[24]!];
  if (planes.some((n) => n > 62)) throw new CodeError(`the HCOMPRESS code claims ${Math.max(...planes)} bit planes`);
  readQuadrant(bits, grid, 0, columns, upper, left, planes[0]!);
  readQuadrant(bits, grid, left, columns, upper, columns >> 1, planes[1]!);
  readQuadrant(bits, grid, upper * columns, columns, rows >> 1, left, planes[1]!);
  readQuadrant(bits, grid, upper * columns + left, columns, rows >> 1, columns >> 1, planes[2]!);
  if (bits.nibble() !== 0) throw new CodeError("the HCOMPRESS code does not end where it should");
  bits.alignToByte();
  for (let i = 0; i < count; i++) if (grid[i] !== 0 && bits.bit() === 1) grid[i]! *= -1;
  grid[0] = sum;
  if (scale > 1) for (let i = 0; i < count; i++) grid[i]! *= scale;
  invertTransform(grid, rows, columns, smooth ? scale : 0);
}

class BitReader {
  readonly #bytes: Uint8Array;
  #at: number;
  #held = 0;
  #left = 0;

  constructor(bytes: Uint8Array, at: number) {
    this.#bytes = bytes;
    this.#at = at;
  }

  bit(): number {
    return this.bits(1);
  }

  /** Up to 8 bits. Never reads a byte before it needs it, so that fewer than 8 bits are held afterwards. */
  bits(n: number): number {
    let left = this.#left;
    if (left < n) {
      if (this.#at >= this.#bytes.length) throw new CodeError("the HCOMPRESS code ends early");
      this.#held = (this.#held << 8) | this.#bytes[this.#at++]!;
      left += 8;
    }
    left -= n;
    const value = this.#held >> left;
    this.#held &= (1 << left) - 1;
    this.#left = left;
    return value;
  }

  nibble(): number {
    return this.bits(4);
  }

  /** The sign bits start at a new byte. */
  alignToByte(): void {
    this.#held = 0;
    this.#left = 0;
  }

  /** One nibble of the quadtree by the fixed Huffman code of the method, lengths 3 to 6. */
  huffman(): number {
    const three = this.bits(3);
    if (three < 4) return 1 << three;
    const four = (three << 1) | this.bit();
    if (four < 13) return fourBits[four - 8]!;
    const five = (four << 1) | this.bit();
    if (five < 31) return fiveBits[five - 26]!;
    return this.bit() === 0 ? 0 : 14;
  }
}
const fourBits = [3, 5, 10, 12, 15];
const fiveBits = [6, 7, 9, 11, 13];

/** The smallest k with 2^k >= n. */
function levelsFor(n: number): number {
  let k = 0;
  while (1 << k < n) k++;
  return k;
}

/** Reads all bit planes of one quadrant of the transform. */
function readQuadrant(
  bits: BitReader,
  grid: Float64Array,
  origin: number,
  stride: number,
  rows: number,
  columns: number,
  planes: number,
): void {
  const levels = levelsFor(Math.max(rows, columns));
  const cells = new Uint8Array(Math.max(1, ((rows + 1) >> 1) * ((columns + 1) >> 1)));
  for (let plane = planes - 1; plane >= 0; plane--) {
    const form = bits.nibble();
    if (form === 0) {
      // stored as it is: one nibble for each block of 2 x 2
      const n = ((rows + 1) >> 1) * ((columns + 1) >> 1);
      for (let i = 0; i < n; i++) cells[i] = bits.nibble();
    } else if (form === 15) {
      cells[0] = bits.huffman();
      for (let level = levels - 1; level > 0; level--) {
        const half = 1 << level;
        expand(bits, cells, Math.ceil(rows / half), Math.ceil(columns / half));
      }
    } else throw new CodeError(`the HCOMPRESS code marks a bit plane with ${form}, expected 0 or 15`);
    const value = 2 ** plane;
    let cell = 0;
    for (let y = 0; y < rows; y += 2)
      for (let x = 0; x < columns; x += 2) {
        const nibble = cells[cell++]!;
        if (nibble === 0) continue;
        const at = origin + y * stride + x;
        const right = x + 1 < columns;
        const below = y + 1 < rows;
        if (nibble & 8) grid[at]! += value;
        if (nibble & 4 && right) grid[at + 1]! += value;
        if (nibble & 2 && below) grid[at + stride]! += value;
        if (nibble & 1 && right && below) grid[at + stride + 1]! += value;
      }
  }
}

/** One level of the quadtree: each bit of a nibble is a block of the next level, followed by its own nibble if set. */
function expand(bits: BitReader, cells: Uint8Array, rows: number, columns: number): void {
  const across = (columns + 1) >> 1;
  // From the end backwards, so that a nibble is read before it is overwritten.
  for (let y = rows - 1; y >= 0; y--)
    for (let x = columns - 1; x >= 0; x--) {
      const nibble = cells[(y >> 1) * across + (x >> 1)]!;
      cells[y * columns + x] = (nibble >> (3 - 2 * (y & 1) - (x & 1))) & 1;
    }
  for (let i = rows * columns - 1; i >= 0; i--) if (cells[i] !== 0) cells[i] = bits.huffman();
}

/** Rounds to a multiple of `unit`, halves away from zero for positive numbers and towards zero for negative ones. */
const roundTo = (value: number, unit: number) => {
  const half = unit / 2;
  return unit <= 1 ? value : Math.floor((value + (value >= 0 ? half : half - 1)) / unit) * unit;
};
/** The bit of weight `unit` of a whole number in two's complement, as 0 or `unit`. */
const bitOf = (value: number, unit: number) => (Math.abs(Math.floor(value / unit)) % 2) * unit;

/**
 * Inverts the H-transform in place, level by level from the coarsest. At each level the grid holds sums (h0) and
 * differences along rows, columns and diagonals (hx, hy, hc) in its quarters; bits that rounding dropped from sums
 * are recovered from the differences.
 */
function invertTransform(grid: Float64Array, rows: number, columns: number, smoothScale: number): void {
  const levels = levelsFor(Math.max(rows, columns));
  const line = new Float64Array(Math.max(rows, columns));
  grid[0] = roundTo(grid[0]!, 2 ** (levels + 1));
  for (let level = levels - 1; level >= 0; level--) {
    const height = Math.ceil(rows / 2 ** level);
    const width = Math.ceil(columns / 2 ** level);
    const low = 2 ** level;
    const divisor = level === 0 ? 4 : 2;
    for (let y = 0; y < height; y++) interleave(grid, y * columns, width, 1, line);
    for (let x = 0; x < width; x++) interleave(grid, x, height, columns, line);
    if (smoothScale > 1) smoothLevel(grid, height, width, columns, Math.floor(smoothScale / 2));
    for (let y = 0; y < height; y += 2)
      for (let x = 0; x < width; x += 2)
        invertBlock(grid, y * columns + x, columns, y + 1 < height, x + 1 < width, low, divisor);
  }
}

function invertBlock(
  grid: Float64Array,
  at: number,
  columns: number,
  below: boolean,
  right: boolean,
  low: number,
  divisor: number,
): void {
  let sum = grid[at]!;
  const middle = 2 * low;
  if (!below || !right) {
    if (!below && !right) {
      grid[at] = Math.floor(sum / divisor);
      return;
    }
    const other = below ? at + columns : at + 1;
    const difference = roundTo(grid[other]!, middle);
    const dropped = bitOf(difference, middle);
    sum += sum >= 0 ? -dropped : dropped;
    grid[other] = Math.floor((sum + difference) / divisor);
    grid[at] = Math.floor((sum - difference) / divisor);
    return;
  }
  let alongY = roundTo(grid[at + columns]!, middle);
  let alongX = roundTo(grid[at + 1]!, middle);
  const across = roundTo(grid[at + columns + 1]!, low);
  const lowBit = bitOf(across, low);
  alongY += alongY >= 0 ? -lowBit : lowBit;
  alongX += alongX >= 0 ? -lowBit : lowBit;
  const middleBit = (bitOf(across, middle) + bitOf(alongY, middle) + bitOf(alongX, middle)) % (2 * middle);
  if (sum >= 0) sum += lowBit - middleBit;
  else sum += lowBit === 0 ? middleBit : lowBit - middleBit;
  grid[at + columns + 1] = Math.floor((sum + alongY + alongX + across) / divisor);
  grid[at + columns] = Math.floor((sum + alongY - alongX - across) / divisor);
  grid[at + 1] = Math.floor((sum - alongY + alongX - across) / divisor);
  grid[at] = Math.floor((sum - alongY - alongX + across) / divisor);
}

/** The first half of a line goes to its even places, the second half to the odd ones. */
function interleave(grid: Float64Array, start: number, length: number, stride: number, line: Float64Array): void {
  const half = (length + 1) >> 1;
  for (let i = 0, at = start; i < length; i++, at += stride) line[i] = grid[at]!;
  for (let i = 0, at = start; i < length; i++, at += stride) grid[at] = line[(i & 1) === 0 ? i >> 1 : half + (i >> 1)]!;
}

const clamp = (value: number, least: number, most: number) => Math.max(least, Math.min(most, value));

/**
 * Smooths the steps that coarse rounding leaves between blocks: differences are moved, by no more than half the
 * rounding step, towards the slope that the neighbouring sums suggest, never so far that a block stops being monotone.
 */
function smoothLevel(grid: Float64Array, height: number, width: number, columns: number, most: number): void {
  if (most <= 0) return;
  const move = (at: number, slope: number, least: number, largest: number, units: number) => {
    if (least < largest)
      grid[at]! += clamp(Math.trunc((clamp(slope, least, largest) - grid[at]! * units) / units), -most, most);
  };
  const along = (sum: number, before: number, after: number, difference: number) => {
    const here = grid[sum]!;
    const up = grid[after]! - here;
    const down = here - grid[before]!;
    move(difference, up + down, 4 * Math.min(Math.max(up, down), 0), 4 * Math.max(Math.min(up, down), 0), 8);
  };
  for (let y = 2; y < height - 2; y += 2)
    for (let x = 0; x < width; x += 2) {
      const at = y * columns + x;
      along(at, at - 2 * columns, at + 2 * columns, at + columns);
    }
  for (let y = 0; y < height; y += 2)
    for (let x = 2; x < width - 2; x += 2) {
      const at = y * columns + x;
      along(at, at - 2, at + 2, at + 1);
    }
  for (let y = 2; y < height - 2; y += 2)
    for (let x = 2; x < width - 2; x += 2) {
      const at = y * columns + x;
      const here = grid[at]!;
      const before = grid[at - 2 * columns - 2]!;
      const lowerLeft = grid[at + 2 * columns - 2]!;
      const upperRight = grid[at - 2 * columns + 2]!;
      const after = grid[at + 2 * columns + 2]!;
      const slopeY = 2 * grid[at + columns]!;
      const slopeX = 2 * grid[at + 1]!;
      const bound = (pick: typeof Math.max, inner: typeof Math.max) =>
        16 *
        inner(
          inner(pick(after - here, 0) - slopeY - slopeX, pick(here - lowerLeft, 0) + slopeY - slopeX),
          inner(pick(here - upperRight, 0) - slopeY + slopeX, pick(before - here, 0) + slopeY + slopeX),
        );
      move(
        at + columns + 1,
        after + before - upperRight - lowerLeft,
        bound(Math.min, Math.max),
        bound(Math.max, Math.min),
        64,
      );
    }
}
