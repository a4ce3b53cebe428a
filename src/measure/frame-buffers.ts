/** One level of resolution: an image of pixels, or of sums of 2 x 2 pixels of the level before. */
export interface Plane {
  readonly width: number;
  readonly height: number;
  /** Row after row; a value is the sum over the pixels it covers. NaN: no value. */
  readonly values: Uint16Array | Float32Array;
}

/** A level of sums; always single precision, which holds sums of up to 256 16-bit pixels exactly. */
export interface SumPlane extends Plane {
  readonly values: Float32Array;
}

/**
 * The memory that measuring a frame takes, to be used again for the next frame of the same size and type. 16-bit
 * unsigned pixels stay as they are; every other type becomes single precision.
 */
export interface FrameBuffers {
  readonly width: number;
  readonly height: number;
  readonly pixels: Uint16Array | Float32Array;
  /** Sums over 2 x 2 pixels; an odd last row or column is left out. */
  readonly sums: SumPlane;
  /** Indices into `sums` of local maxima. */
  readonly peaks: Int32Array;
}

/** Allocates the buffers for frames of a size. */
export function frameBuffers(width: number, height: number, type: "uint16" | "float32"): FrameBuffers {
  const count = width * height;
  return {
    width,
    height,
    pixels: type === "uint16" ? new Uint16Array(count + (count & 1)) : new Float32Array(count),
    sums: sumPlane(width >> 1, height >> 1),
    peaks: new Int32Array(Math.min(1 << 17, (count >> 4) + 16)),
  };
}

/** An empty level of sums. */
export function sumPlane(width: number, height: number): SumPlane {
  return { width, height, values: new Float32Array(width * height) };
}
