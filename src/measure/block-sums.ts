/**
 * Sums over 2 x 2 pixels of a 16-bit image of even width. Two pixels are fetched as one 32-bit word, which halves the
 * loads; their order in the word does not matter to a sum.
 * @param pairs - the image, two pixels a word
 * @param pairsPerRow - half the width of the image
 * @param fromRow - first image row, even
 * @param toRow - row after the last, even
 */
export function sumPairs(
  pairs: Int32Array,
  pairsPerRow: number,
  fromRow: number,
  toRow: number,
  sums: Float32Array,
): void {
  let out = (fromRow >> 1) * pairsPerRow;
  for (let row = fromRow; row < toRow; row += 2) {
    let at = row * pairsPerRow;
    for (const end = at + pairsPerRow; at < end; at++) {
      const upper = pairs[at]!;
      const lower = pairs[at + pairsPerRow]!;
      sums[out++] = (upper & 0xffff) + (upper >>> 16) + (lower & 0xffff) + (lower >>> 16);
    }
  }
}

/** The same of 16-bit pixels in rows of any width; an odd last column is left out. */
export function sumBlocks16(
  pixels: Uint16Array,
  width: number,
  fromRow: number,
  toRow: number,
  sums: Float32Array,
): void {
  const half = width >> 1;
  let out = (fromRow >> 1) * half;
  for (let row = fromRow; row + 1 < toRow; row += 2) {
    let at = row * width;
    for (let i = 0; i < half; i++, at += 2)
      sums[out++] = pixels[at]! + pixels[at + 1]! + pixels[at + width]! + pixels[at + width + 1]!;
  }
}

/** The same of single-precision pixels. A block with a NaN in it becomes NaN. */
export function sumBlocksFloat(
  pixels: Float32Array,
  width: number,
  fromRow: number,
  toRow: number,
  sums: Float32Array,
): void {
  const half = width >> 1;
  let out = (fromRow >> 1) * half;
  for (let row = fromRow; row + 1 < toRow; row += 2) {
    let at = row * width;
    for (let i = 0; i < half; i++, at += 2)
      sums[out++] = pixels[at]! + pixels[at + 1]! + pixels[at + width]! + pixels[at + width + 1]!;
  }
}
