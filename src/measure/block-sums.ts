/**
 * Sums over 2 x 2 pixels of a 16-bit image; an odd last column is left out.
 * @param fromRow - first image row, even
 * @param toRow - row after the last
 */
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
