import { type Quantisation, zquantizNames } from "./dither.js";
import type { ByteSource } from "./file-bytes.js";
import type { Header } from "./header.js";
import { type RiceBytes, riceParameters } from "./rice.js";
import { pixelTypeOf, type Scaling, scalingOf } from "./scaling.js";
import { TileTable } from "./tile-table.js";

/** The methods of section 10.4. RICE_ONE, an older spelling, counts as RICE_1. */
export type TileMethod = "RICE_1" | "GZIP_1" | "GZIP_2" | "HCOMPRESS_1" | "PLIO_1" | "NOCOMPRESS";

/** All that a header says about how its tiles are to be decoded. */
export interface TilePlan {
  readonly header: Header;
  readonly table: TileTable;
  readonly method: TileMethod;
  /** ZNAXIS1 first. */
  readonly axes: readonly number[];
  /** Pixels of a full tile along each axis. */
  readonly tile: readonly number[];
  /** Tiles along each axis. */
  readonly counts: readonly number[];
  readonly tilePixels: number;
  readonly scaling: Scaling;
  readonly type: ReturnType<typeof pixelTypeOf>;
  readonly quantisation: Quantisation;
  /** The stored integer that means NaN in quantised floats, unless a column ZBLANK gives it; NaN where there is none. */
  readonly floatBlank: number;
  readonly riceBlock: number;
  readonly riceBytes: RiceBytes;
  readonly smooth: boolean;
  /** How the mask of undefined pixels is compressed. */
  readonly maskMethod: TileMethod;
}

/** An image of this size is read whatever its code is; beyond it, the code must be long enough. */
const alwaysPlausiblePixels = 1 << 20;
/** Deflate expands no byte to more (RFC 1951: 258 bytes for two bits). */
const mostGzip = 1032;

/**
 * Reads how an image is cut into tiles and compressed (FITS Standard 4.0, sections 10.1 and 10.4). No tile is read.
 * @throws FitsError when a keyword is missing or wrong, or the table cannot hold the image that the header declares
 */
export function planOf(source: ByteSource, header: Header, dataOffsetBytes: number): TilePlan {
  const table = new TileTable(source, header, dataOffsetBytes);
  const most = Number.MAX_SAFE_INTEGER;
  const naxis = header.integer("ZNAXIS", { min: 1, max: 999 });
  const axes = Array.from({ length: naxis }, (_, i) => header.integer(`ZNAXIS${i + 1}`, { min: 1, max: most }));
  const tile = axes.map((axis, i) =>
    Math.min(axis, header.integer(`ZTILE${i + 1}`, { min: 1, max: most, otherwise: i === 0 ? axis : 1 })),
  );
  const bitpix = header.integer("ZBITPIX", { min: -64, max: 64 });
  if (![8, 16, 32, 64, -32, -64].includes(bitpix))
    throw header.error(header.get("ZBITPIX"), `ZBITPIX is ${bitpix}, expected 8, 16, 32, 64, -32 or -64`);
  const method = methodOf(header, "ZCMPTYPE", "Uncompress the file with the program that wrote it");
  const plain = scalingOf(header, bitpix);
  const zblank = header.get("ZBLANK");
  const zblankValue = zblank?.kind === "integer" ? BigInt(zblank.value as number | bigint) : null;
  const scaling = { ...plain, blank: plain.blank ?? (bitpix > 0 ? zblankValue : null) };
  const mayHoldNaN = bitpix > 0 && (table.has("ZBLANK") || table.has("NULL_PIXEL_MASK"));
  const plan: TilePlan = {
    header,
    table,
    method,
    axes,
    tile,
    counts: axes.map((axis, i) => Math.ceil(axis / tile[i]!)),
    tilePixels: product(tile),
    scaling,
    type: pixelTypeOf(mayHoldNaN ? { ...scaling, blank: scaling.blank ?? 0n } : scaling),
    quantisation: quantisationOf(header, bitpix),
    floatBlank: zblankValue === null ? Number.NaN : Number(zblankValue),
    riceBlock: parameter(header, "BLOCKSIZE", 32, "16 or 32", (n) => Number.isInteger(n) && n >= 1 && n <= 1 << 16),
    riceBytes: parameter(header, "BYTEPIX", 4, "1, 2 or 4", (n) => n === 1 || n === 2 || n === 4) as RiceBytes,
    smooth: parameter(header, "SMOOTH", 0, "0 or 1", () => true) !== 0,
    maskMethod: table.has("NULL_PIXEL_MASK") ? methodOf(header, "ZMASKCMP", "Leave the file out") : "GZIP_1",
  };
  checkPlausible(plan);
  return plan;
}

/** A header that claims a huge image over little code must not make anyone allocate that image. */
function checkPlausible(plan: TilePlan): void {
  const { header, table, axes, counts } = plan;
  const tiles = product(counts);
  const size = header.get("ZNAXIS1");
  if (tiles > table.rows)
    throw header.error(size, `the image (${axes.join(" x ")}) needs ${tiles} tiles, the table has ${table.rows} rows`);
  if (product(axes) > alwaysPlausiblePixels + mostPixelsPerByte(plan) * table.dataBytes)
    throw header.error(size, `an image of ${axes.join(" x ")} pixels cannot be in ${table.dataBytes} bytes of code`);
}

/** How many pixels a byte of code can stand for at most, with the smoothest of images. */
function mostPixelsPerByte({ method, table, scaling, riceBlock, riceBytes }: TilePlan): number {
  const gzip = mostGzip / (Math.abs(scaling.bitpix) / 8);
  switch (method) {
    case "RICE_1": {
      const rice = (8 * riceBlock) / riceParameters[riceBytes].bits;
      return table.has("GZIP_COMPRESSED_DATA") ? Math.max(rice, gzip) : rice;
    }
    case "PLIO_1": // a run of 4095 pixels in a word of two bytes
      return 2048;
    case "HCOMPRESS_1": // 26 bytes hold a constant tile, taken as 4096 x 16 pixels
      return 2600;
    case "GZIP_1":
    case "GZIP_2":
    case "NOCOMPRESS":
      return gzip;
    default:
      return method satisfies never;
  }
}

function methodOf(header: Header, keyword: string, remedy: string): TileMethod {
  const name = (header.text(keyword) ?? "").trim();
  switch (name) {
    case "RICE_ONE":
      return "RICE_1";
    case "RICE_1":
    case "GZIP_1":
    case "GZIP_2":
    case "HCOMPRESS_1":
    case "PLIO_1":
    case "NOCOMPRESS":
      return name;
    default:
      throw header.error(header.get(keyword), `${keyword} is '${name}', no compression of the FITS Standard`, remedy);
  }
}

function quantisationOf(header: Header, bitpix: number): Quantisation {
  const name = (header.text("ZQUANTIZ") ?? "").trim();
  const method = zquantizNames[name];
  if (method === undefined && bitpix < 0)
    throw header.error(
      header.get("ZQUANTIZ"),
      `ZQUANTIZ is '${name}', no quantisation of the FITS Standard`,
      "Uncompress the file with the program that wrote it",
    );
  if (method === undefined || method === "none" || bitpix > 0) return { method: "none", seed: 1 };
  const most = Number.MAX_SAFE_INTEGER / 2;
  return { method, seed: header.integer("ZDITHER0", { min: -most, max: most }) };
}

/** A parameter of the method: the ZVALn whose ZNAMEn has the given name. */
function parameter(
  header: Header,
  name: string,
  otherwise: number,
  expected: string,
  allowed: (n: number) => boolean,
): number {
  for (let i = 1; header.get(`ZNAME${i}`) !== undefined; i++) {
    if (header.text(`ZNAME${i}`)?.trim() !== name) continue;
    const value = header.number(`ZVAL${i}`, otherwise);
    if (!allowed(value))
      throw header.error(header.get(`ZVAL${i}`), `the parameter ${name} is ${value}, expected ${expected}`);
    return value;
  }
  return otherwise;
}

const product = (numbers: readonly number[]) => numbers.reduce((n, number) => n * number, 1);
