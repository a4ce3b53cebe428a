import { CallError } from "../terms/errors.js";
import type { ByteSource } from "./file-bytes.js";
import type { Header } from "./header.js";
import type { PixelArray, PixelReader } from "./pixels.js";
import { bytesPerValue, physicalFromBytes, pixelTypeOf, type Scaling, scalingOf, typeOfArray } from "./scaling.js";

const chunkBytes = 1 << 18;
const cacheBytes = 1 << 16;
const littleEndian = new Uint8Array(new Uint32Array([1]).buffer)[0] === 1;

/** The axes of an image as width, height and planes; a missing axis counts 1, axes beyond the third multiply the planes. */
export function shapeOf(axes: readonly number[]): { width: number; height: number; planes: number } {
  const [width = 0, height = 1, ...rest] = axes;
  return { width, height, planes: rest.reduce((n, axis) => n * axis, 1) };
}

/**
 * Opens an uncompressed image for reading in rows. Nothing is read yet.
 * @param axes - NAXIS1, NAXIS2, ...
 * @param dataOffsetBytes - byte at which the data unit starts; the caller has made sure that all of it is there
 */
export function openPlainImage(
  source: ByteSource,
  header: Header,
  bitpix: number,
  axes: readonly number[],
  dataOffsetBytes: number,
): PixelReader {
  const scaling = scalingOf(header, bitpix);
  const type = pixelTypeOf(scaling);
  const shape = shapeOf(axes);
  const startOf = (row: number) => dataOffsetBytes + row * shape.width * bytesPerValue(bitpix);
  const readStored = (firstRow: number, rows: number, into: Uint16Array) => {
    checkRows(shape, firstRow, rows, into);
    fill(source, header, Buffer.from(into.buffer, into.byteOffset, rows * shape.width * 2), startOf(firstRow));
  };
  return {
    ...shape,
    type,
    ...(type === "uint16" && { readStored }),
    readRows(firstRow, rows, into) {
      checkRows(shape, firstRow, rows, into);
      const count = rows * shape.width;
      const start = startOf(firstRow);
      const made = typeOfArray(into);
      if (made !== type && made !== "float32" && made !== "float64")
        throw new CallError(`Pixels of type ${type} do not fit an array of type ${made}`);
      if (into instanceof Uint16Array && littleEndian) readUnsigned16(source, header, start, into, count);
      else readScaled(source, header, scaling, start, into, count);
    },
  };
}

/** @throws CallError when the rows are not in the image or the array is too short */
export function checkRows(
  { width, height, planes }: { width: number; height: number; planes: number },
  firstRow: number,
  rows: number,
  into: PixelArray,
): void {
  if (!(firstRow >= 0 && rows >= 0 && firstRow + rows <= height * planes))
    throw new CallError(`Rows ${firstRow} to ${firstRow + rows - 1} are not in an image of ${height * planes} rows`);
  if (into.length < rows * width)
    throw new CallError(`An array of ${into.length} values has no room for ${rows} rows of ${width} pixels`);
}

/** The common sub: bytes land in the caller's array and are turned over where they lie, while they are in cache. */
function readUnsigned16(source: ByteSource, header: Header, start: number, into: Uint16Array, count: number): void {
  const bytes = Buffer.from(into.buffer, into.byteOffset, count * 2);
  for (let from = 0; from < bytes.length; from += chunkBytes) {
    const piece = bytes.subarray(from, from + chunkBytes);
    fill(source, header, piece, start + from);
    for (let at = 0; at < piece.length; at += cacheBytes) {
      const part = piece.subarray(at, at + cacheBytes).swap16();
      flipTopBits(into, (from + at) / 2, (from + at + part.length) / 2);
    }
  }
}

const bothTopBits = 0x80008000 | 0;

/** BZERO 32768 flips the top bit of each value (Table 11): two values a word, eight words a step, a third faster than one. */
function flipTopBits(values: Uint16Array, from: number, to: number): void {
  let first = from;
  if ((values.byteOffset + 2 * first) % 4 !== 0 && first < to) values[first++]! ^= 0x8000;
  const words = new Int32Array(values.buffer, values.byteOffset + 2 * first, (to - first) >> 1);
  let i = 0;
  for (; i + 8 <= words.length; i += 8) {
    words[i]! ^= bothTopBits;
    words[i + 1]! ^= bothTopBits;
    words[i + 2]! ^= bothTopBits;
    words[i + 3]! ^= bothTopBits;
    words[i + 4]! ^= bothTopBits;
    words[i + 5]! ^= bothTopBits;
    words[i + 6]! ^= bothTopBits;
    words[i + 7]! ^= bothTopBits;
  }
  for (; i < words.length; i++) words[i]! ^= bothTopBits;
  for (let tail = first + 2 * words.length; tail < to; tail++) values[tail]! ^= 0x8000;
}

function readScaled(
  source: ByteSource,
  header: Header,
  scaling: Scaling,
  start: number,
  into: PixelArray,
  count: number,
): void {
  const size = bytesPerValue(scaling.bitpix);
  const piece = new Uint8Array(Math.min(chunkBytes, count * size));
  const step = piece.length / size;
  for (let done = 0; done < count; done += step) {
    const values = Math.min(step, count - done);
    fill(source, header, piece.subarray(0, values * size), start + done * size);
    physicalFromBytes(scaling, piece, values, into, done);
  }
}

function fill(source: ByteSource, header: Header, piece: Uint8Array, offsetBytes: number): void {
  if (source.readInto(piece, offsetBytes) < piece.length)
    throw header.error(undefined, `the file ends within the image data, at byte ${source.lengthBytes}`);
}
