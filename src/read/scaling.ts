import type { Header } from "./header.js";
import type { PixelArray, PixelType } from "./pixels.js";

/** How stored numbers become physical ones: physical = zero + scale x stored (FITS Standard 4.0, eq. 3). */
export interface Scaling {
  /** 8, 16, 32, 64, -32 or -64. */
  readonly bitpix: number;
  readonly bscale: number;
  readonly bzero: number;
  /** The stored integer that means "no value"; null where there is none. Has no meaning for floats. */
  readonly blank: bigint | null;
}

/** Bytes of one stored value. */
export const bytesPerValue = (bitpix: number) => Math.abs(bitpix) / 8;

/** Reads BSCALE, BZERO and BLANK. A value that is no number counts as absent. */
export function scalingOf(header: Header, bitpix: number): Scaling {
  const blank = header.get("BLANK");
  return {
    bitpix,
    bscale: header.number("BSCALE", 1),
    bzero: header.number("BZERO", 0),
    blank: bitpix > 0 && blank?.kind === "integer" ? BigInt(blank.value as number | bigint) : null,
  };
}

/**
 * The tightest array type that holds every physical value exactly. The offsets of Table 11 turn signed into unsigned
 * integers and the other way round; anything else that scales, and integers with BLANK, need doubles.
 */
export function pixelTypeOf({ bitpix, bscale, bzero, blank }: Scaling): PixelType {
  if (bitpix === -64) return "float64";
  if (bitpix === -32) return bscale === 1 && bzero === 0 ? "float32" : "float64";
  if (bscale !== 1 || blank !== null) return "float64";
  if (bitpix === 8) return bzero === 0 ? "uint8" : bzero === -128 ? "int8" : "float64";
  if (bitpix === 16) return bzero === 0 ? "int16" : bzero === 32768 ? "uint16" : "float64";
  if (bitpix === 32) return bzero === 0 ? "int32" : bzero === 2147483648 ? "uint32" : "float64";
  return "float64"; // 64-bit integers: exact to 2^53, then rounded
}

/** A new array of a pixel type. */
export function pixelArray(type: PixelType, length: number): PixelArray {
  switch (type) {
    case "uint8":
      return new Uint8Array(length);
    case "int8":
      return new Int8Array(length);
    case "uint16":
      return new Uint16Array(length);
    case "int16":
      return new Int16Array(length);
    case "uint32":
      return new Uint32Array(length);
    case "int32":
      return new Int32Array(length);
    case "float32":
      return new Float32Array(length);
    case "float64":
      return new Float64Array(length);
    default:
      return type satisfies never;
  }
}

/** The pixel type of an array, to compare with what a reader gives. */
export function typeOfArray(array: PixelArray): PixelType {
  return array.constructor.name.replace("Array", "").toLowerCase() as PixelType;
}

/**
 * Turns big-endian stored values into physical ones.
 * @param bytes - stored values, `count` of them
 * @param into - receives the physical values from `at` on; must be able to hold them (see {@link pixelTypeOf})
 */
export function physicalFromBytes(
  scaling: Scaling,
  bytes: Uint8Array,
  count: number,
  into: PixelArray,
  at: number,
): void {
  const { bitpix, bscale, bzero, blank } = scaling;
  const identity = bscale === 1 && bzero === 0;
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (bitpix === -32)
    for (let i = 0; i < count; i++) {
      const v = view.getFloat32(i * 4);
      into[at + i] = identity ? v : v * bscale + bzero;
    }
  else if (bitpix === -64)
    for (let i = 0; i < count; i++) {
      const v = view.getFloat64(i * 8);
      into[at + i] = identity ? v : v * bscale + bzero;
    }
  else if (bitpix === 64) wide(scaling, view, count, into, at);
  else {
    const missing = blank === null ? Number.NaN : Number(blank);
    for (let i = 0; i < count; i++) {
      const v = bitpix === 8 ? bytes[i]! : bitpix === 16 ? view.getInt16(i * 2) : view.getInt32(i * 4);
      into[at + i] = v === missing ? Number.NaN : identity ? v : v * bscale + bzero;
    }
  }
}

/** 64-bit integers without bigint: high word x 2^32 is exact, so one addition rounds once. */
function wide({ bscale, bzero, blank }: Scaling, view: DataView, count: number, into: PixelArray, at: number): void {
  const unsigned = bscale === 1 && bzero === 2 ** 63;
  const identity = bscale === 1 && bzero === 0;
  const blankHigh = blank === null ? Number.NaN : Number(BigInt.asIntN(64, blank) >> 32n);
  const blankLow = blank === null ? Number.NaN : Number(BigInt.asUintN(32, blank));
  for (let i = 0; i < count; i++) {
    const high = view.getInt32(i * 8);
    const low = view.getUint32(i * 8 + 4);
    if (high === blankHigh && low === blankLow) into[at + i] = Number.NaN;
    else if (unsigned) into[at + i] = ((high ^ 0x80000000) >>> 0) * 4294967296 + low;
    else {
      const v = high * 4294967296 + low;
      into[at + i] = identity ? v : v * bscale + bzero;
    }
  }
}

/** Turns stored integers into physical values; the same rules as {@link physicalFromBytes}. */
export function scaleIntegers(
  { bscale, bzero, blank }: Scaling,
  stored: ArrayLike<number>,
  count: number,
  into: PixelArray,
): void {
  const missing = blank === null ? Number.NaN : Number(blank);
  if (bscale === 1 && blank === null) for (let i = 0; i < count; i++) into[i] = stored[i]! + bzero;
  else for (let i = 0; i < count; i++) into[i] = stored[i] === missing ? Number.NaN : stored[i]! * bscale + bzero;
}
