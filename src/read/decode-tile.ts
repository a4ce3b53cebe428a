import { CodeError } from "./code-error.js";
import { unquantise } from "./dither.js";
import { gunzipTile, unshuffle } from "./gzip-tiles.js";
import { hcompressDecode } from "./hcompress.js";
import type { PixelArray } from "./pixels.js";
import { plioDecode } from "./plio.js";
import { riceDecode } from "./rice.js";
import { physicalFromBytes, pixelArray, type Scaling, scaleIntegers } from "./scaling.js";
import type { TileMethod, TilePlan } from "./tile-plan.js";
import type { Piece } from "./tile-table.js";

/** Room for one tile, used again for each. The two arrays of stored values are made when a tile first needs them. */
export interface TileBuffers {
  readonly physical: PixelArray;
  integers: Int32Array | undefined;
  doubles: Float64Array | undefined;
}

export function tileBuffers({ type, tilePixels }: TilePlan): TileBuffers {
  return { physical: pixelArray(type, tilePixels), integers: undefined, doubles: undefined };
}

/**
 * Decodes one tile to physical values.
 * @param tile - its number, from 0
 * @param columns - its width in pixels
 * @param count - its pixels
 * @param buffers - `physical` receives the values
 * @throws FitsError when the code is damaged
 */
export function decodeTile(plan: TilePlan, tile: number, columns: number, count: number, buffers: TileBuffers): void {
  const { table, header } = plan;
  const code = table.piece("COMPRESSED_DATA", tile);
  // A tile that could not be compressed as the others: its own pixels, in gzip or as they are.
  const gzip = code === null ? table.piece("GZIP_COMPRESSED_DATA", tile) : null;
  const piece = code ?? gzip ?? table.piece("UNCOMPRESSED_DATA", tile);
  if (piece === null) throw header.errorAt(table.rowOffsetBytes(tile), `tile ${tile + 1} has no data`);
  const method = code !== null ? plan.method : gzip !== null ? "GZIP_1" : "NOCOMPRESS";
  try {
    const scale = code === null ? 0 : scaleOf(plan, tile);
    if (scale !== 0) unquantiseTile(plan, tile, piece, columns, count, scale, buffers);
    else if (!isForIntegers(method)) storedValues(withBlank(plan, tile), method, piece, count, buffers.physical);
    else if (plan.scaling.bitpix < 0) throw new CodeError(`${method} holds integers, but the floats have no ZSCALE`);
    else {
      const stored = decodeIntegers(plan, piece, columns, count, buffers);
      checkRange(plan, stored, count);
      scaleIntegers(withBlank(plan, tile), stored, count, buffers.physical);
    }
  } catch (cause) {
    if (!(cause instanceof CodeError)) throw cause;
    throw header.errorAt(piece.offsetBytes, `tile ${tile + 1} is damaged: ${cause.message}`, undefined, cause);
  }
  blankMasked(plan, tile, count, buffers.physical);
}

const isForIntegers = (method: TileMethod) => method === "RICE_1" || method === "PLIO_1" || method === "HCOMPRESS_1";

/** ZSCALE of a tile of quantised floats; 0 where the tile holds its pixels as they are. */
function scaleOf({ table, header, scaling }: TilePlan, tile: number): number {
  if (scaling.bitpix > 0) return 0;
  const scale = table.has("ZSCALE") ? table.number("ZSCALE", tile) : header.number("ZSCALE", 0);
  if (!Number.isFinite(scale)) throw new CodeError(`its ZSCALE is ${scale}`);
  return scale;
}

/** The scaling of a tile, with its own value for undefined pixels where there is one. */
function withBlank({ table, scaling }: TilePlan, tile: number): Scaling {
  if (scaling.bitpix < 0 || !table.has("ZBLANK")) return scaling;
  const blank = table.number("ZBLANK", tile);
  if (!Number.isInteger(blank)) throw new CodeError(`its ZBLANK is ${blank}, not an integer`);
  return { ...scaling, blank: BigInt(blank) };
}

function unquantiseTile(
  plan: TilePlan,
  tile: number,
  piece: Piece,
  columns: number,
  count: number,
  scale: number,
  buffers: TileBuffers,
): void {
  const { table, header, method, quantisation, tilePixels } = plan;
  const { bitpix, bscale, bzero } = plan.scaling;
  const zero = table.has("ZZERO") ? table.number("ZZERO", tile) : header.number("ZZERO", 0);
  const blank = table.has("ZBLANK") ? table.number("ZBLANK", tile) : plan.floatBlank;
  let stored: Int32Array | Float64Array;
  if (isForIntegers(method)) stored = decodeIntegers(plan, piece, columns, count, buffers);
  else {
    buffers.integers ??= new Int32Array(tilePixels);
    stored = buffers.integers;
    const bytes = plainBytes(method, piece, count, 4);
    physicalFromBytes({ bitpix: widthOf(bytes, count) * 8, bscale: 1, bzero: 0, blank: null }, bytes, count, stored, 0);
  }
  buffers.doubles ??= new Float64Array(tilePixels);
  const doubles = buffers.doubles;
  unquantise(quantisation, tile, stored, count, scale, zero, blank, doubles);
  // The floats were singles before they were quantised; their own scaling, if any, comes after.
  if (bitpix === -32) for (let i = 0; i < count; i++) doubles[i] = Math.fround(doubles[i]!);
  if (bscale !== 1 || bzero !== 0) for (let i = 0; i < count; i++) doubles[i] = doubles[i]! * bscale + bzero;
  for (let i = 0; i < count; i++) buffers.physical[i] = doubles[i]!;
}

function decodeIntegers(
  { method, tilePixels, scaling, smooth, riceBlock, riceBytes }: TilePlan,
  { bytes }: Piece,
  columns: number,
  count: number,
  buffers: TileBuffers,
): Int32Array | Float64Array {
  if (method === "HCOMPRESS_1") {
    buffers.doubles ??= new Float64Array(tilePixels);
    hcompressDecode(bytes, columns, count, smooth, buffers.doubles);
    // A lossy code of pixels near the limit may decode to beyond what the pixels' type holds.
    if (scaling.bitpix > 0) {
      const { least, most } = rangeOf(scaling.bitpix);
      for (let i = 0; i < count; i++) buffers.doubles[i] = Math.max(least, Math.min(most, buffers.doubles[i]!));
    }
    return buffers.doubles;
  }
  buffers.integers ??= new Int32Array(tilePixels);
  if (method === "RICE_1") riceDecode(bytes, count, riceBlock, riceBytes, buffers.integers);
  else plioDecode(bytes, count, buffers.integers);
  return buffers.integers;
}

const rangeOf = (bitpix: number) =>
  bitpix === 8 ? { least: 0, most: 255 } : { least: -(2 ** (bitpix - 1)), most: 2 ** (bitpix - 1) - 1 };

/** Integers that were compressed in more bits than the image has must still fit the image. */
function checkRange({ method, scaling, riceBytes }: TilePlan, stored: ArrayLike<number>, count: number): void {
  if (method === "HCOMPRESS_1" || scaling.bitpix >= (method === "RICE_1" ? 8 * riceBytes : 32)) return;
  const { least, most } = rangeOf(scaling.bitpix);
  for (let i = 0; i < count; i++)
    if (!(stored[i]! >= least && stored[i]! <= most))
      throw new CodeError(`it holds the value ${stored[i]}, but the pixels have ${scaling.bitpix} bits`);
}

/** The stored bytes of a tile that was written with gzip, or not compressed at all. */
function plainBytes(method: TileMethod, { bytes }: Piece, count: number, mostWidth: number): Uint8Array {
  if (method === "NOCOMPRESS") return bytes;
  const plain = gunzipTile(bytes, count * mostWidth);
  widthOf(plain, count);
  return method === "GZIP_2" ? unshuffle(plain, count) : plain;
}

function widthOf(bytes: Uint8Array, count: number): number {
  const width = bytes.length / count;
  if (width !== 1 && width !== 2 && width !== 4 && width !== 8)
    throw new CodeError(`it holds ${bytes.length} bytes for ${count} pixels`);
  return width;
}

/** Pixels of their own type; some writers give integers fewer or more bytes than ZBITPIX says. */
function storedValues(scaling: Scaling, method: TileMethod, piece: Piece, count: number, out: PixelArray): void {
  const { bitpix } = scaling;
  const bytes = plainBytes(method, piece, count, 8);
  const width = widthOf(bytes, count) * 8;
  const fits = bitpix < 0 ? width === -bitpix : bitpix === 64 || width <= 32;
  if (!fits) throw new CodeError(`it holds ${width} bits a pixel, but ZBITPIX is ${bitpix}`);
  physicalFromBytes({ ...scaling, bitpix: bitpix < 0 ? bitpix : width }, bytes, count, out, 0);
}

/** Undefined pixels of lossy tiles are marked in a mask of their own (section 10.2.2). */
function blankMasked(plan: TilePlan, tile: number, count: number, physical: PixelArray): void {
  const piece = plan.table.piece("NULL_PIXEL_MASK", tile);
  if (piece === null) return;
  try {
    const mask = maskOf(plan, piece, count);
    for (let i = 0; i < count; i++) if (mask[i] !== 0) physical[i] = Number.NaN;
  } catch (cause) {
    if (!(cause instanceof CodeError)) throw cause;
    const problem = `the mask of tile ${tile + 1} is damaged: ${cause.message}`;
    throw plan.header.errorAt(piece.offsetBytes, problem, undefined, cause);
  }
}

function maskOf({ maskMethod, riceBlock }: TilePlan, piece: Piece, count: number): ArrayLike<number> {
  const mask = new Int32Array(count);
  if (maskMethod === "PLIO_1") plioDecode(piece.bytes, count, mask);
  else if (maskMethod === "RICE_1") riceDecode(piece.bytes, count, riceBlock, 1, mask);
  else if (maskMethod === "HCOMPRESS_1") throw new CodeError("HCOMPRESS_1 is not for masks");
  else {
    const bytes = plainBytes(maskMethod, piece, count, 4);
    physicalFromBytes({ bitpix: widthOf(bytes, count) * 8, bscale: 1, bzero: 0, blank: null }, bytes, count, mask, 0);
  }
  return mask;
}
