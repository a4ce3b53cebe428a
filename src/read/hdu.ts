import { FitsError } from "../terms/errors.js";
import { type ByteSource, slice } from "./file-bytes.js";
import { gunzipped, isGzip } from "./gzip.js";
import { blockBytes, type Header, latin1, readHeader } from "./header.js";
import type { PixelReader } from "./pixels.js";
import { openPlainImage } from "./plain-image.js";
import { bytesPerValue } from "./scaling.js";
import { openTiledImage } from "./tiled-image.js";

/** `image`: an array with pixels. `tiled-image`: a compressed one in a binary table. `empty`: a header without data. */
export type HduKind = "image" | "tiled-image" | "empty" | "table" | "groups" | "other";

/** A header and data unit: where it is and what it holds. Its data have not been read. */
export interface Hdu {
  readonly index: number;
  readonly kind: HduKind;
  /** EXTNAME, or "PRIMARY". */
  readonly name: string;
  readonly header: Header;
  readonly bitpix: number;
  /** NAXIS1 first. Of a tiled image: those of the image. */
  readonly axes: readonly number[];
  readonly dataOffsetBytes: number;
  /** Without padding. */
  readonly dataLengthBytes: number;
}

/** What a file is made of. `problem`: what is wrong behind the last good HDU; the HDUs before it can be used. */
export interface FitsFile {
  /** The bytes as FITS, unpacked where the file was gzip. */
  readonly source: ByteSource;
  readonly hdus: readonly Hdu[];
  readonly problem: FitsError | null;
}

/**
 * Reads the structure of a FITS file: every header, no pixels.
 * @throws FitsError when the first header cannot be read, or its data are not all there
 * @example
 * ```ts
 * import { openFile, openFits } from "nightyield";
 * const source = openFile("subs/NGC6888_L_30s_0002.fits.fz");
 * console.log(openFits(source).hdus.length);
 * source.close();
 * ```
 */
export function openFits(packed: ByteSource): FitsFile {
  const source = unpacked(packed);
  const hdus: Hdu[] = [];
  let problem: FitsError | null = null;
  try {
    for (const hdu of walk(source)) hdus.push(hdu);
  } catch (error) {
    if (!(error instanceof FitsError) || hdus.length === 0 || !hasPixels(hdus)) throw error;
    problem = error;
  }
  return { source, hdus, problem };
}

/** The first image of a file with the headers that describe it: its own, then the primary one. */
export interface SubImage {
  /** The bytes as FITS, unpacked where the file was gzip. */
  readonly source: ByteSource;
  readonly hdu: Hdu;
  readonly headers: readonly Header[];
}

/**
 * Finds the first image with two axes or more. Stops there, so a plain sub costs one small read.
 * @throws FitsError when the file is not FITS, is damaged before the image, or holds no image
 * @example
 * ```ts
 * import { firstImage, openFile, openPixels } from "nightyield";
 * const source = openFile("subs/NGC6888_L_30s_0002.fits.fz");
 * const image = firstImage(source);
 * console.log(openPixels(image.source, image.hdu).width);
 * source.close();
 * ```
 */
export function firstImage(packed: ByteSource): SubImage {
  const source = unpacked(packed);
  let primary: Hdu | undefined;
  for (const hdu of walk(source)) {
    primary ??= hdu;
    if ((hdu.kind !== "image" && hdu.kind !== "tiled-image") || hdu.axes.length < 2) continue;
    return { source, hdu, headers: hdu === primary ? [hdu.header] : [hdu.header, primary.header] };
  }
  throw new FitsError(
    { file: source.name, offsetBytes: 0 },
    "the file holds no image",
    "Leave it out of the folder, or check that the camera wrote it completely",
  );
}

/**
 * Opens the pixels of an HDU.
 * @throws FitsError when the HDU holds no image, or a compressed one that cannot be decoded
 * @example
 * ```ts
 * import { firstImage, openFile, openPixels } from "nightyield";
 * const source = openFile("subs/NGC6888_L_30s_0002.fits.fz");
 * const { source: inside, hdu } = firstImage(source);
 * const { width, height } = openPixels(inside, hdu);
 * console.log(width, "x", height);
 * source.close();
 * ```
 */
export function openPixels(source: ByteSource, hdu: Hdu): PixelReader {
  if (hdu.kind === "tiled-image") return openTiledImage(source, hdu.header, hdu.dataOffsetBytes);
  if (hdu.kind === "image") return openPlainImage(source, hdu.header, hdu.bitpix, hdu.axes, hdu.dataOffsetBytes);
  throw hdu.header.error(undefined, `HDU ${hdu.index} (${hdu.name}) holds no image`, "Choose another HDU");
}

const hasPixels = (hdus: readonly Hdu[]) => hdus.some(({ kind }) => kind === "image" || kind === "tiled-image");

function unpacked(source: ByteSource): ByteSource {
  return isGzip(source) ? gunzipped(source, declaredEnd) : source;
}

/** Where the data of those HDUs end whose headers lie within the start of a file. */
function declaredEnd(start: ByteSource): number {
  let end = 0;
  try {
    for (const hdu of hdusOf(start)) end = hdu.dataOffsetBytes + hdu.dataLengthBytes;
  } catch (error) {
    // What is wrong with a header is said when the whole file is read.
    if (!(error instanceof FitsError)) throw error;
  }
  return end;
}

/** HDU after HDU, each with all of its data there. */
function* walk(source: ByteSource): Generator<Hdu> {
  checkStart(source);
  for (const hdu of hdusOf(source)) {
    const end = hdu.dataOffsetBytes + hdu.dataLengthBytes;
    if (end > source.lengthBytes)
      throw new FitsError(
        { file: source.name, offsetBytes: source.lengthBytes },
        `the file ends ${end - source.lengthBytes} bytes before its ${describe(hdu)} does`,
        "It was cut short while it was written or copied; copy it again or leave it out",
      );
    yield hdu;
  }
}

/** HDU after HDU as the headers tell it, reading each header only when it is asked for. */
function* hdusOf(source: ByteSource): Generator<Hdu> {
  for (let at = 0, index = 0; at < source.lengthBytes; index++) {
    // Special records may follow the last HDU (section 3.5); they are no extension.
    if (index > 0 && latin1(slice(source, at, 8), 0, Math.min(8, source.lengthBytes - at)) !== "XTENSION") return;
    const hdu = hduAt(source, at, index);
    yield hdu;
    at = hdu.dataOffsetBytes + Math.ceil(hdu.dataLengthBytes / blockBytes) * blockBytes;
  }
}

const describe = (hdu: Hdu) => (hdu.axes.length > 0 ? `data (${hdu.axes.join(" x ")})` : "data");

function checkStart(source: ByteSource): void {
  const start = slice(source, 0, 16);
  const text = latin1(start, 0, start.length);
  if (/^SIMPLE *=/.test(text)) return;
  const looks =
    source.lengthBytes === 0
      ? "the file is empty"
      : start.every((byte) => byte === 0)
        ? "the file starts with zero bytes"
        : text.startsWith("\x1f\x9d")
          ? "the file is compressed with an old method (.Z)"
          : text.startsWith("\x89PNG")
            ? "the file is a PNG picture"
            : "the file does not start with SIMPLE, so it is not FITS";
  const remedy = text.startsWith("\x1f\x9d") ? "Uncompress it first, or leave it out" : "Copy it again or leave it out";
  throw new FitsError({ file: source.name, offsetBytes: 0 }, looks, remedy);
}

function hduAt(source: ByteSource, at: number, index: number): Hdu {
  const header = readHeader(source, at);
  const bitpix = bitpixOf(header, "BITPIX");
  const axes = axesOf(header, "");
  const type = index === 0 ? "PRIMARY" : (header.text("XTENSION") ?? "").trim();
  const grouped = axes[0] === 0 && axes.length > 1 && header.get("GROUPS")?.value === true;
  const pcount = header.integer("PCOUNT", { min: 0, max: Number.MAX_SAFE_INTEGER, otherwise: 0 });
  const gcount = header.integer("GCOUNT", { min: 0, max: Number.MAX_SAFE_INTEGER, otherwise: 1 });
  const values = grouped ? product(axes.slice(1)) : axes.length === 0 ? 0 : product(axes);
  const extra = index > 0 || grouped ? pcount : 0;
  const groups = index > 0 || grouped ? gcount : 1;
  const place = {
    index,
    header,
    name: index === 0 ? "PRIMARY" : (header.text("EXTNAME")?.trim() ?? ""),
    dataOffsetBytes: at + header.lengthBytes,
    dataLengthBytes: bytesPerValue(bitpix) * groups * (extra + values),
  };
  if (type === "BINTABLE" && header.get("ZIMAGE")?.value === true)
    return { ...place, kind: "tiled-image", bitpix: bitpixOf(header, "ZBITPIX"), axes: axesOf(header, "Z") };
  const kind: HduKind = grouped
    ? "groups"
    : type === "PRIMARY" || type === "IMAGE"
      ? values > 0
        ? "image"
        : "empty"
      : type === "BINTABLE" || type === "TABLE"
        ? "table"
        : "other";
  return { ...place, kind, bitpix, axes };
}

function bitpixOf(header: Header, keyword: string): number {
  const bitpix = header.integer(keyword, { min: -64, max: 64 });
  if (![8, 16, 32, 64, -32, -64].includes(bitpix))
    throw header.error(header.get(keyword), `${keyword} is ${bitpix}, expected 8, 16, 32, 64, -32 or -64`);
  return bitpix;
}

function axesOf(header: Header, prefix: "" | "Z"): number[] {
  const naxis = header.integer(`${prefix}NAXIS`, { min: 0, max: 999 });
  return Array.from({ length: naxis }, (_, i) =>
    header.integer(`${prefix}NAXIS${i + 1}`, { min: 0, max: Number.MAX_SAFE_INTEGER }),
  );
}

const product = (axes: readonly number[]) => axes.reduce((n, axis) => n * axis, 1);
