import { constants, deflateSync } from "node:zlib";
import { CallError } from "../terms/errors.js";

/** A picture in memory: rows from top to bottom, 0 (black) to 255. */
export interface Raster {
  readonly width: number;
  readonly height: number;
  /** 1: grey; 3: red, green, blue. */
  readonly channels: 1 | 3;
  readonly samples: Uint8Array;
}

/** How an animation runs. */
export interface Animation {
  /** Time that each picture stays, ms, up to 65 535. */
  readonly delayMs: number;
  /** How often it runs; 0, when left out: without end. */
  readonly plays?: number;
}

const signature = Uint8Array.of(0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a);

/**
 * A PNG file (W3C Portable Network Graphics, third edition). Samples are kept as they are; where few greys or colours are
 * used, they are stored in fewer bits.
 * @param text - what the picture shows and how it was made; stored in the file as its description
 */
export function encodePng(raster: Raster, text = ""): Uint8Array {
  return file([raster], text, null);
}

/**
 * An animated PNG (the same standard, 4.9 and 11.3.4): browsers play it, other programs show its first picture.
 * @throws CallError when there is no picture, or the pictures differ in size or kind
 */
export function encodeAnimation(rasters: readonly Raster[], animation: Animation, text = ""): Uint8Array {
  const [first] = rasters;
  if (first === undefined) throw new CallError("An animation needs at least one picture");
  for (const { width, height, channels } of rasters)
    if (width !== first.width || height !== first.height || channels !== first.channels)
      throw new CallError(
        `The pictures of an animation must be alike: the first has ${first.width} x ${first.height} pixels and ${first.channels} channels, another ${width} x ${height} and ${channels}`,
      );
  if (!(animation.delayMs >= 0 && animation.delayMs <= 65_535))
    throw new CallError(`A picture stays for 0 to 65535 ms, not ${animation.delayMs}`);
  return file(rasters, text, animation);
}

function file(rasters: readonly Raster[], text: string, animation: Animation | null): Uint8Array {
  const [{ width, height }] = rasters as readonly [Raster];
  const format = formatOf(rasters);
  const chunks = [signature, chunk("IHDR", words(width, height), [format.depth, format.colourType, 0, 0, 0])];
  if (format.palette !== null) chunks.push(chunk("PLTE", format.palette));
  if (text !== "") chunks.push(chunk("iTXt", new TextEncoder().encode(`Description\0\0\0\0\0${text}`)));
  if (animation !== null) chunks.push(chunk("acTL", words(rasters.length, animation.plays ?? 0)));
  let sequence = 0;
  rasters.forEach((raster, i) => {
    if (animation !== null) {
      const { delayMs } = animation;
      // Delay as a fraction of a second; each picture replaces the whole of the one before.
      const delay = [delayMs >> 8, delayMs & 255, 1000 >> 8, 1000 & 255, 0, 0];
      chunks.push(chunk("fcTL", words(sequence++, width, height, 0, 0), delay));
    }
    const data = compressed(raster, format);
    chunks.push(i === 0 ? chunk("IDAT", data) : chunk("fdAT", words(sequence++), data));
  });
  chunks.push(chunk("IEND"));
  return joined(chunks);
}

interface Format {
  readonly depth: 1 | 2 | 4 | 8;
  /** 0 grey, 2 red-green-blue, 3 palette. */
  readonly colourType: 0 | 2 | 3;
  readonly palette: Uint8Array | null;
  /** Place of a colour (as one number) in the palette. */
  readonly places: ReadonlyMap<number, number>;
}

/** The fewest bits that hold every sample exactly. */
function formatOf(rasters: readonly Raster[]): Format {
  if (rasters[0]!.channels === 1) {
    // All greys of a smaller depth are multiples of one step.
    const fits = (step: number) => rasters.every(({ samples }) => samples.every((value) => value % step === 0));
    const depth = fits(255) ? 1 : fits(85) ? 2 : fits(17) ? 4 : 8;
    return { depth, colourType: 0, palette: null, places: new Map() };
  }
  const places = new Map<number, number>();
  for (const { samples } of rasters)
    for (let i = 0; i < samples.length && places.size <= 256; i += 3) {
      const colour = colourAt(samples, i);
      if (!places.has(colour)) places.set(colour, places.size);
    }
  if (places.size > 256) return { depth: 8, colourType: 2, palette: null, places: new Map() };
  const palette = Uint8Array.from([...places.keys()].flatMap((c) => [c >> 16, (c >> 8) & 255, c & 255]));
  const depth = places.size <= 2 ? 1 : places.size <= 4 ? 2 : places.size <= 16 ? 4 : 8;
  return { depth, colourType: 3, palette, places };
}

const colourAt = (samples: Uint8Array, at: number) => (samples[at]! << 16) | (samples[at + 1]! << 8) | samples[at + 2]!;

/** Noise is stored smallest without any search for repetitions, smooth pictures with it: both are tried. */
function smallest(rows: Uint8Array): Uint8Array {
  const packedBy = (strategy: number): Uint8Array => deflateSync(rows, { level: 9, memLevel: 9, strategy });
  const [searched, counted] = [packedBy(constants.Z_DEFAULT_STRATEGY), packedBy(constants.Z_HUFFMAN_ONLY)];
  return searched.length <= counted.length ? searched : counted;
}

/** The rows, each with the filter that suits it or all without, whichever is smaller; noise is best left alone. */
function compressed(raster: Raster, format: Format): Uint8Array {
  const rows = packed(raster, format);
  const plain = smallest(unfiltered(rows, raster.height));
  if (format.depth < 8 || format.colourType === 3) return plain;
  const other = smallest(filtered(rows, raster.height, raster.channels));
  return other.length < plain.length ? other : plain;
}

function packed({ width, height, channels, samples }: Raster, { depth, colourType, places }: Format): Uint8Array {
  if (depth === 8 && colourType !== 3) return samples;
  const stride = Math.ceil((width * depth) / 8);
  const rows = new Uint8Array(stride * height);
  const step = 255 / (2 ** depth - 1);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const at = (y * width + x) * channels;
      const value = colourType === 3 ? places.get(colourAt(samples, at))! : samples[at]! / step;
      const bit = x * depth;
      rows[y * stride + (bit >> 3)]! |= value << (8 - depth - (bit & 7));
    }
  return rows;
}

function unfiltered(rows: Uint8Array, height: number): Uint8Array {
  const stride = rows.length / height;
  const out = new Uint8Array(rows.length + height);
  for (let y = 0; y < height; y++) out.set(rows.subarray(y * stride, (y + 1) * stride), y * (stride + 1) + 1);
  return out;
}

/** Filters Sub and Up (section 9.2), chosen by the smaller sum of differences. */
function filtered(rows: Uint8Array, height: number, channels: number): Uint8Array {
  const stride = rows.length / height;
  const out = new Uint8Array(rows.length + height);
  const sizeOf = (difference: number) => (difference < 128 ? difference : 256 - difference);
  for (let y = 0; y < height; y++) {
    const start = y * stride;
    const left = (i: number) => (i >= channels ? rows[start + i - channels]! : 0);
    const above = (i: number) => (y > 0 ? rows[start + i - stride]! : 0);
    let [sub, up] = [0, 0];
    for (let i = 0; i < stride; i++) {
      sub += sizeOf((rows[start + i]! - left(i)) & 255);
      up += sizeOf((rows[start + i]! - above(i)) & 255);
    }
    const to = y * (stride + 1);
    out[to] = sub <= up ? 1 : 2;
    for (let i = 0; i < stride; i++) out[to + 1 + i] = (rows[start + i]! - (sub <= up ? left(i) : above(i))) & 255;
  }
  return out;
}

/** Length, type, data, and the checksum of type and data (section 5.3). */
function chunk(type: string, ...parts: readonly ArrayLike<number>[]): Uint8Array {
  const length = parts.reduce((sum, part) => sum + part.length, 0);
  const body = joined([Uint8Array.from(type, (c) => c.charCodeAt(0)), ...parts]);
  return joined([words(length), body, words(crc32(body))]);
}

function joined(parts: readonly ArrayLike<number>[]): Uint8Array {
  const out = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    out.set(part, at);
    at += part.length;
  }
  return out;
}

/** Numbers as four bytes each, the highest first. */
const words = (...numbers: readonly number[]) =>
  Uint8Array.from(numbers.flatMap((n) => [(n >>> 24) & 255, (n >>> 16) & 255, (n >>> 8) & 255, n & 255]));

const crcOfByte = Uint32Array.from({ length: 256 }, (_, byte) => {
  let crc = byte;
  for (let k = 0; k < 8; k++) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
  return crc;
});

/** CRC-32 (annex D of the standard). Node's own came with 20.15. */
function crc32(bytes: Uint8Array): number {
  let crc = 0xffffffff;
  for (const byte of bytes) crc = (crc >>> 8) ^ crcOfByte[(crc ^ byte) & 255]!;
  return ~crc >>> 0;
}
