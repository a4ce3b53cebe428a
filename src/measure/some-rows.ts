import type { PixelReader } from "../read/pixels.js";

/**
 * Rows of an image's first plane, in twos and evenly spread from top to bottom, so that neither a corner nor one row of
 * a colour mosaic speaks for the whole. All rows of a small image.
 * @param most - pixels wanted; at least one pair of rows is read
 * @throws FitsError when the data are damaged
 */
export function someRows(reader: PixelReader, most: number): Float32Array {
  const { width, height } = reader;
  const pairs = Math.max(1, Math.floor(height / 2));
  const wanted = Math.min(pairs, Math.max(1, Math.floor(most / (2 * width))));
  const rows = Math.min(2, height);
  const values = new Float32Array(wanted * rows * width);
  for (let i = 0; i < wanted; i++) {
    const row = 2 * Math.floor(((i + 0.5) * pairs) / wanted);
    reader.readRows(row, rows, values.subarray(i * rows * width, (i + 1) * rows * width));
  }
  return values;
}
