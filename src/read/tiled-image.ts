import { CodeError } from "./code-error.js";
import { type Quantisation, unquantise } from "./dither.js";
import type { ByteSource } from "./file-bytes.js";
import { gunzipTile, unshuffle } from "./gzip-tiles.js";
import { hcompressDecode } from "./hcompress.js";
import type { Header } from "./header.js";
import type { PixelArray, PixelReader } from "./pixels.js";
import { checkRows, shapeOf } from "./plain-image.js";
import { plioDecode } from "./plio.js";
import { type RiceBytes, riceDecode } from "./rice.js";
import { physicalFromBytes, pixelArray, pixelTypeOf, type Scaling, scaleIntegers, scalingOf } from "./scaling.js";
import { type Piece, TileTable } from "./tile-table.js";

type Method = "RICE_1" | "GZIP_1" | "GZIP_2" | "HCOMPRESS_1" | "PLIO_1" | "NOCOMPRESS";
/** No method shrinks pixels of a sub beyond this; a header that claims more is not believed (RFC 1951: 1032 to 1). */
const mostPixelsPerByte = 1100;
const alwaysPlausiblePixels = 1 << 20;

/**
 * Opens a tile-compressed image (FITS Standard 4.0, section 10) for reading in rows. Tiles are decoded in bands, one
 * row of tiles at a time; the last band is kept.
 * @param header - header of the binary table that carries the image (ZIMAGE = T)
 * @throws FitsError when the table cannot hold the image that its header declares
 */
export function openTiledImage(source: ByteSource, header: Header, dataOffsetBytes: number): PixelReader {
  const plan = planOf(source, header, dataOffsetBytes);
  const { axes, tile, counts, type } = plan;
  const shape = shapeOf(axes);
  // Rows run over the second and all further axes; a band is as many rows as its tiles are high.
  const bandRows = tile[1] ?? 1;
  const scratch = new Float64Array(plan.tilePixels);
  const integers = new Int32Array(plan.tilePixels);
  const tileOut = pixelArray(type, plan.tilePixels);
  let band = { first: -1, rows: 0, pixels: pixelArray(type, 0) };

  /** Decodes the tiles that hold a row; in cubes whose tiles span planes, only the planes of that row are kept. */
  function bandOf(row: number): typeof band {
    const plane = Math.floor(row / shape.height);
    const y = row % shape.height;
    const tileY = Math.floor(y / bandRows);
    const first = plane * shape.height + tileY * bandRows;
    if (band.first === first) return band;
    const rows = Math.min(bandRows, shape.height - tileY * bandRows);
    const pixels = band.pixels.length >= rows * shape.width ? band.pixels : pixelArray(type, bandRows * shape.width);
    band = { first: -1, rows, pixels };
    // Index of the plane along each further axis, hence which tile and which slice of it.
    let rest = plane;
    let number = tileY * counts[0]!;
    let step = counts[0]! * (counts[1] ?? 1);
    let slice = 0;
    let sliceSize = 1;
    for (let axis = 2; axis < axes.length; axis++) {
      const index = rest % axes[axis]!;
      rest = Math.floor(rest / axes[axis]!);
      const tileIndex = Math.floor(index / tile[axis]!);
      number += tileIndex * step;
      step *= counts[axis]!;
      slice += (index % tile[axis]!) * sliceSize;
      sliceSize *= Math.min(tile[axis]!, axes[axis]! - tileIndex * tile[axis]!);
    }
    for (let tileX = 0; tileX < counts[0]!; tileX++) {
      const columns = Math.min(tile[0]!, shape.width - tileX * tile[0]!);
      decodeTile(plan, number + tileX, columns * rows * sliceSize, integers, scratch, tileOut);
      const from = slice * columns * rows;
      for (let r = 0; r < rows; r++)
        pixels.set(tileOut.subarray(from + r * columns, from + (r + 1) * columns), r * shape.width + tileX * tile[0]!);
    }
    band = { first, rows, pixels };
    return band;
  }

  return {
    ...shape,
    type,
    readRows(firstRow, rows, into) {
      checkRows(shape, firstRow, rows, into);
      for (let row = firstRow; row < firstRow + rows; ) {
        const { first, rows: held, pixels } = bandOf(row);
        const take = Math.min(first + held, firstRow + rows) - row;
        const from = (row - first) * shape.width;
        into.set(pixels.subarray(from, from + take * shape.width), (row - firstRow) * shape.width);
        row += take;
      }
    },
  };
}

interface Plan {
  readonly header: Header;
  readonly table: TileTable;
  readonly method: Method;
  readonly axes: readonly number[];
  readonly tile: readonly number[];
  /** Tiles along each axis. */
  readonly counts: readonly number[];
  readonly tilePixels: number;
  readonly scaling: Scaling;
  readonly type: ReturnType<typeof pixelTypeOf>;
  readonly quantisation: Quantisation;
  readonly riceBlock: number;
  readonly riceBytes: RiceBytes;
  readonly smooth: boolean;
}

function planOf(source: ByteSource, header: Header, dataOffsetBytes: number): Plan {
  const table = new TileTable(source, header, dataOffsetBytes);
  const most = Number.MAX_SAFE_INTEGER;
  const naxis = header.integer("ZNAXIS", { min: 1, max: 999 });
  const axes = Array.from({ length: naxis }, (_, i) => header.integer(`ZNAXIS${i + 1}`, { min: 1, max: most }));
  const tile = axes.map((axis, i) =>
    Math.min(axis, header.integer(`ZTILE${i + 1}`, { min: 1, max: most, otherwise: i === 0 ? axis : 1 })),
  );
  const counts = axes.map((axis, i) => Math.ceil(axis / tile[i]!));
  const pixels = axes.reduce((n, axis) => n * axis, 1);
  const tiles = counts.reduce((n, count) => n * count, 1);
  const size = header.get("ZNAXIS1");
  if (tiles > table.rows)
    throw header.error(size, `the image (${axes.join(" x ")}) needs ${tiles} tiles, the table has ${table.rows} rows`);
  if (pixels > alwaysPlausiblePixels + mostPixelsPerByte * table.heapBytes)
    throw header.error(size, `an image of ${axes.join(" x ")} pixels cannot be in ${table.heapBytes} bytes of code`);
  const bitpix = header.integer("ZBITPIX", { min: -64, max: 64 });
  if (![8, 16, 32, 64, -32, -64].includes(bitpix))
    throw header.error(header.get("ZBITPIX"), `ZBITPIX is ${bitpix}, expected 8, 16, 32, 64, -32 or -64`);
  const plain = scalingOf(header, bitpix);
  const blank = plain.blank ?? (bitpix > 0 ? blankOf(header) : null);
  const scaling = { ...plain, blank: blank ?? (bitpix > 0 && table.has("ZBLANK") ? 0n : null) };
  return {
    header,
    table,
    method: methodOf(header),
    axes,
    tile,
    counts,
    tilePixels: tile.reduce((n, length) => n * length, 1),
    scaling: { ...plain, blank },
    type: pixelTypeOf(scaling),
    quantisation: quantisationOf(header),
    riceBlock: parameter(header, "BLOCKSIZE", 32, (n) => n >= 1 && n <= 1 << 16),
    riceBytes: parameter(header, "BYTEPIX", 4, (n) => [1, 2, 4].includes(n)) as RiceBytes,
    smooth: parameter(header, "SMOOTH", 0, () => true) !== 0,
  };
}

function methodOf(header: Header): Method {
  const name = (header.text("ZCMPTYPE") ?? "").trim();
  switch (name) {
    case "RICE_1":
    case "RICE_ONE": // an older spelling
      return "RICE_1";
    case "GZIP_1":
    case "GZIP_2":
    case "HCOMPRESS_1":
    case "PLIO_1":
    case "NOCOMPRESS":
      return name;
    default:
      throw header.error(
        header.get("ZCMPTYPE"),
        `the compression '${name}' is not one of the FITS Standard`,
        "Uncompress the file with the program that wrote it",
      );
  }
}

function quantisationOf(header: Header): Quantisation {
  const name = (header.text("ZQUANTIZ") ?? "NO_DITHER").trim();
  const seed = header.integer("ZDITHER0", { min: Number.MIN_SAFE_INTEGER, max: Number.MAX_SAFE_INTEGER, otherwise: 1 });
  return {
    method: name === "SUBTRACTIVE_DITHER_1" ? "dither-1" : name === "SUBTRACTIVE_DITHER_2" ? "dither-2" : "none",
    seed,
  };
}

function blankOf(header: Header): bigint | null {
  const card = header.get("ZBLANK");
  return card?.kind === "integer" ? BigInt(card.value as number | bigint) : null;
}

/** A parameter of the method: the ZVALn whose ZNAMEn has the given name. */
function parameter(header: Header, name: string, otherwise: number, allowed: (n: number) => boolean): number {
  for (let i = 1; header.get(`ZNAME${i}`) !== undefined; i++) {
    if (header.text(`ZNAME${i}`)?.trim() !== name) continue;
    const value = header.number(`ZVAL${i}`, otherwise);
    if (!allowed(value)) throw header.error(header.get(`ZVAL${i}`), `${name} is ${value}`);
    return value;
  }
  return otherwise;
}

/** Decodes one tile to physical values. */
function decodeTile(
  plan: Plan,
  tile: number,
  count: number,
  integers: Int32Array,
  scratch: Float64Array,
  out: PixelArray,
): void {
  const { table, scaling, header } = plan;
  const code = table.piece("COMPRESSED_DATA", tile);
  const fallback = code ?? table.piece("GZIP_COMPRESSED_DATA", tile);
  const piece = fallback ?? table.piece("UNCOMPRESSED_DATA", tile);
  if (piece === null) throw header.error(undefined, `tile ${tile + 1} has no data`);
  try {
    if (code === null) {
      // A tile that could not be compressed as the others: its own pixels, as they are or in gzip.
      const bytes = fallback === null ? piece.bytes : gunzipTile(piece.bytes, count * 8);
      storedValues(plan, bytes, count, out);
      return;
    }
    const quantised =
      scaling.bitpix < 0 && (table.has("ZSCALE") || header.get("ZSCALE") !== undefined) && scaleOf(plan, tile) !== 0;
    if (quantised) unquantiseTile(plan, tile, piece, count, integers, scratch, out);
    else if (plan.method === "RICE_1" || plan.method === "PLIO_1" || plan.method === "HCOMPRESS_1") {
      const values = decodeIntegers(plan, piece, count, integers, scratch);
      scaleIntegers(withBlank(plan, tile), values, count, out);
    } else storedValues({ ...plan, scaling: withBlank(plan, tile) }, bytesOf(plan, piece, count, 8), count, out);
  } catch (cause) {
    if (!(cause instanceof CodeError)) throw cause;
    throw header.errorAt(piece.offsetBytes, `tile ${tile + 1} is damaged: ${cause.message}`, undefined, cause);
  }
}

const scaleOf = ({ table, header }: Plan, tile: number) =>
  table.has("ZSCALE") ? table.number("ZSCALE", tile) : header.number("ZSCALE", 0);
const zeroOf = ({ table, header }: Plan, tile: number) =>
  table.has("ZZERO") ? table.number("ZZERO", tile) : header.number("ZZERO", 0);
const withBlank = ({ table, scaling }: Plan, tile: number): Scaling =>
  scaling.bitpix > 0 && table.has("ZBLANK") ? { ...scaling, blank: BigInt(table.number("ZBLANK", tile)) } : scaling;

function unquantiseTile(
  plan: Plan,
  tile: number,
  piece: Piece,
  count: number,
  integers: Int32Array,
  scratch: Float64Array,
  out: PixelArray,
): void {
  const { table, header, scaling } = plan;
  let stored: Int32Array | Float64Array;
  if (plan.method === "RICE_1" || plan.method === "PLIO_1" || plan.method === "HCOMPRESS_1")
    stored = decodeIntegers(plan, piece, count, integers, scratch);
  else {
    const bytes = bytesOf(plan, piece, count, 4);
    physicalFromBytes(
      { bitpix: widthOf(bytes, count) * 8, bscale: 1, bzero: 0, blank: null },
      bytes,
      count,
      integers,
      0,
    );
    stored = integers;
  }
  const blank = table.has("ZBLANK") ? table.number("ZBLANK", tile) : Number(blankOf(header) ?? Number.NaN);
  unquantise(plan.quantisation, tile, stored, count, scaleOf(plan, tile), zeroOf(plan, tile), blank, scratch);
  const single = scaling.bitpix === -32;
  const { bscale, bzero } = scaling;
  for (let i = 0; i < count; i++) {
    const value = single ? Math.fround(scratch[i]!) : scratch[i]!;
    out[i] = bscale === 1 && bzero === 0 ? value : value * bscale + bzero;
  }
}

function decodeIntegers(
  plan: Plan,
  { bytes }: Piece,
  count: number,
  integers: Int32Array,
  scratch: Float64Array,
): Int32Array | Float64Array {
  if (plan.method === "RICE_1") riceDecode(bytes, count, plan.riceBlock, plan.riceBytes, integers);
  else if (plan.method === "PLIO_1") plioDecode(bytes, count, integers);
  else {
    hcompressDecode(bytes, count, plan.smooth, scratch);
    // A lossy code of pixels near the limit may decode to beyond what the pixels' type holds.
    const width = plan.scaling.bitpix;
    const least = width === 8 ? 0 : -(2 ** (Math.max(width, 16) - 1));
    const most = width === 8 ? 255 : 2 ** (Math.max(width, 16) - 1) - 1;
    if (width > 0) for (let i = 0; i < count; i++) scratch[i] = Math.max(least, Math.min(most, scratch[i]!));
    return scratch;
  }
  return integers;
}

/** The stored bytes of a tile that was written with gzip, or not compressed at all. */
function bytesOf({ method }: Plan, { bytes }: Piece, count: number, mostWidth: number): Uint8Array {
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

function storedValues({ scaling }: Plan, bytes: Uint8Array, count: number, out: PixelArray): void {
  const width = widthOf(bytes, count) * 8;
  physicalFromBytes({ ...scaling, bitpix: scaling.bitpix < 0 ? -width : width }, bytes, count, out, 0);
}
