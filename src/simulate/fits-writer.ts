import { encodeChecksum, onesComplementSum } from "../read/checksum.js";
import { blockBytes } from "../read/header.js";
import { riceEncode } from "../read/rice-encode.js";
import { CallError } from "../terms/errors.js";

/** A header card to be written. A number without fraction is written as an integer unless `real` says otherwise. */
export interface WriteCard {
  readonly keyword: string;
  readonly value: string | number | boolean | null;
  readonly comment?: string;
  /** Decimals of a real number. */
  readonly decimals?: number;
}

export interface FitsImage {
  /** Unsigned 16-bit values, first row first. */
  readonly pixels: Uint16Array;
  readonly width: number;
  readonly height: number;
  /** Everything beyond what the structure needs. */
  readonly cards: readonly WriteCard[];
}

/**
 * One image as a FITS file: 16-bit unsigned (BZERO 32768), plain or tile-compressed with RICE_1 row by row (FITS Standard
 * 4.0, sections 5.2.5 and 10).
 * @param options - `checksums`: CHECKSUM and DATASUM in every header
 * @throws CallError when a card does not fit into 80 characters
 */
export function writeFits(
  image: FitsImage,
  options: { readonly compression: "rice" | "none"; readonly checksums: "yes" | "no" },
): Uint8Array {
  const parts =
    options.compression === "rice"
      ? [hdu(emptyPrimary, new Uint8Array(0), options.checksums), riceHdu(image, options.checksums)]
      : [plainHdu(image, options.checksums)];
  return joined(parts);
}

const emptyPrimary: readonly WriteCard[] = [
  { keyword: "SIMPLE", value: true, comment: "conforms to the FITS Standard" },
  { keyword: "BITPIX", value: 8 },
  { keyword: "NAXIS", value: 0, comment: "the image is in the extension" },
  { keyword: "EXTEND", value: true },
];

const unsigned: readonly WriteCard[] = [
  { keyword: "BZERO", value: 32768, comment: "unsigned 16-bit values" },
  { keyword: "BSCALE", value: 1 },
];

function plainHdu({ pixels, width, height, cards }: FitsImage, checksums: "yes" | "no"): Uint8Array {
  const data = new Uint8Array(2 * pixels.length);
  for (let i = 0; i < pixels.length; i++) {
    // Taking 32768 off an unsigned number flips its highest bit.
    const stored = pixels[i]! ^ 0x8000;
    data[2 * i] = stored >>> 8;
    data[2 * i + 1] = stored & 0xff;
  }
  const structure: readonly WriteCard[] = [
    { keyword: "SIMPLE", value: true, comment: "conforms to the FITS Standard" },
    { keyword: "BITPIX", value: 16, comment: "bits a pixel" },
    { keyword: "NAXIS", value: 2 },
    { keyword: "NAXIS1", value: width },
    { keyword: "NAXIS2", value: height },
    { keyword: "EXTEND", value: true },
    ...unsigned,
  ];
  return hdu([...structure, ...cards], data, checksums);
}

function riceHdu({ pixels, width, height, cards }: FitsImage, checksums: "yes" | "no"): Uint8Array {
  const rows: Uint8Array[] = [];
  const signed = new Int16Array(width);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) signed[x] = pixels[y * width + x]! - 32768;
    rows.push(riceEncode(signed, 2));
  }
  const heapBytes = rows.reduce((sum, row) => sum + row.length, 0);
  const longest = rows.reduce((most, row) => Math.max(most, row.length), 0);
  const data = new Uint8Array(8 * height + heapBytes);
  const table = new DataView(data.buffer);
  let at = 0;
  rows.forEach((row, y) => {
    table.setInt32(8 * y, row.length);
    table.setInt32(8 * y + 4, at);
    data.set(row, 8 * height + at);
    at += row.length;
  });
  const structure: readonly WriteCard[] = [
    { keyword: "XTENSION", value: "BINTABLE", comment: "tile-compressed image" },
    { keyword: "BITPIX", value: 8 },
    { keyword: "NAXIS", value: 2 },
    { keyword: "NAXIS1", value: 8, comment: "a descriptor of variable length" },
    { keyword: "NAXIS2", value: height, comment: "tiles" },
    { keyword: "PCOUNT", value: heapBytes },
    { keyword: "GCOUNT", value: 1 },
    { keyword: "TFIELDS", value: 1 },
    { keyword: "TTYPE1", value: "COMPRESSED_DATA" },
    { keyword: "TFORM1", value: `1PB(${longest})` },
    { keyword: "ZIMAGE", value: true },
    { keyword: "ZSIMPLE", value: true },
    { keyword: "ZBITPIX", value: 16 },
    { keyword: "ZNAXIS", value: 2 },
    { keyword: "ZNAXIS1", value: width },
    { keyword: "ZNAXIS2", value: height },
    { keyword: "ZTILE1", value: width },
    { keyword: "ZTILE2", value: 1 },
    { keyword: "ZCMPTYPE", value: "RICE_1" },
    { keyword: "ZNAME1", value: "BLOCKSIZE" },
    { keyword: "ZVAL1", value: 32 },
    { keyword: "ZNAME2", value: "BYTEPIX" },
    { keyword: "ZVAL2", value: 2 },
    ...unsigned,
  ];
  return hdu([...structure, ...cards], data, checksums);
}

/** Header and data, padded; the sums are put in last. */
function hdu(cards: readonly WriteCard[], data: Uint8Array, checksums: "yes" | "no"): Uint8Array {
  const padded = new Uint8Array(Math.ceil(data.length / blockBytes) * blockBytes);
  padded.set(data);
  if (checksums === "no") return joined([headerBytes(cards), padded]);
  const dataSum = onesComplementSum(padded);
  const withSums = (checksum: string) =>
    headerBytes([...cards, { keyword: "CHECKSUM", value: checksum }, { keyword: "DATASUM", value: String(dataSum) }]);
  const sum = onesComplementSum(withSums("0".repeat(16)), dataSum);
  return joined([withSums(encodeChecksum(sum)), padded]);
}

function headerBytes(cards: readonly WriteCard[]): Uint8Array {
  const lines = [...cards.map(cardText), "END".padEnd(80)];
  const bytes = new Uint8Array(Math.ceil((lines.length * 80) / blockBytes) * blockBytes).fill(32);
  lines.forEach((line, i) => {
    for (let c = 0; c < 80; c++) bytes[i * 80 + c] = line.charCodeAt(c);
  });
  return bytes;
}

/**
 * One card as 80 characters, fixed format (section 4.2).
 * @throws CallError when it does not fit, or is not plain ASCII
 */
export function cardText({ keyword, value, comment, decimals }: WriteCard): string {
  const name = keyword.padEnd(8);
  const wrong = (why: string) =>
    new CallError(`Cannot write the header card ${keyword} = ${JSON.stringify(value)}: ${why}`);
  if (!/^[A-Z0-9_-]{1,8}$/.test(keyword)) throw wrong("a keyword has at most 8 of A-Z 0-9 _ -");
  if (typeof value === "string" && !/^[\x20-\x7e]*$/.test(value))
    throw wrong("only plain ASCII characters are allowed");
  if (keyword === "COMMENT" || keyword === "HISTORY") return (name + String(value)).slice(0, 80).padEnd(80);
  const field =
    value === null
      ? ""
      : typeof value === "string"
        ? `'${value.replaceAll("'", "''").padEnd(8)}'`.padEnd(20)
        : typeof value === "boolean"
          ? (value ? "T" : "F").padStart(20)
          : (decimals === undefined ? String(value) : value.toFixed(decimals)).padStart(20);
  const text = `${name}= ${field}`;
  if (text.trimEnd().length > 80) throw wrong(`it needs ${text.length} characters, a card has 80`);
  const full = comment === undefined ? text : `${text} / ${comment}`;
  return full.slice(0, 80).padEnd(80);
}

function joined(parts: readonly Uint8Array[]): Uint8Array {
  const whole = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}
