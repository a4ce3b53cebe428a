/**
 * Arrays that hold physical pixel values without loss. Which one an image uses follows from its header:
 * an unsigned 16-bit sub is a Uint16Array, floats stay floats, anything scaled or with BLANK becomes Float64Array.
 */
export type PixelArray =
  | Uint8Array
  | Int8Array
  | Uint16Array
  | Int16Array
  | Uint32Array
  | Int32Array
  | Float32Array
  | Float64Array;
export type PixelType = "uint8" | "int8" | "uint16" | "int16" | "uint32" | "int32" | "float32" | "float64";

/** An image that can be read in rows. Row r is row r % height of plane floor(r / height); the first row is stored first. */
export interface PixelReader {
  readonly width: number;
  readonly height: number;
  readonly planes: number;
  /** The tightest type that holds every value exactly. */
  readonly type: PixelType;
  /**
   * Reads rows into a buffer that the caller owns. Values are physical: BZERO + BSCALE x stored, BLANK as NaN.
   * @param into - an array of `type`, or a Float32Array or Float64Array, with room for `rows` x width values
   * @throws FitsError when the data are damaged
   */
  readRows(firstRow: number, rows: number, into: PixelArray): void;
  /**
   * The same for an uncompressed unsigned 16-bit image, faster, as the values are left as they are stored: high byte
   * first, and less by 32768. Absent where an image is not stored so.
   */
  readonly readStored?: (firstRow: number, rows: number, into: Uint16Array) => void;
}
