import { ballotCells, mostVoters } from "./ballot.js";
import { type Workspace, workspace } from "./simd/workspace.js";
import { skyBins } from "./sky-histogram.js";
import { emptyStamp, type Stamp, stampRoom } from "./stamp.js";
import { numbersPerStar } from "./star-records.js";

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
  /** Coarser levels of sums, filled when they are first needed; those from the second on are made then. */
  readonly coarser: SumPlane[];
  readonly stamp: Stamp;
  /** Where all of these lie, with the kernels that work on them. */
  readonly workspace: Workspace;
}

/** Stars that are looked at before the typical one is known. */
export const extraRecords = 201;

/** Sums of a row that share a threshold when peaks are looked for. */
export const segment = 16;

/**
 * Allocates the buffers for frames of a size.
 * @param plain - true: without WebAssembly, as on a machine that has no SIMD
 */
export function frameBuffers(width: number, height: number, type: "uint16" | "float32", plain = false): FrameBuffers {
  const count = width * height;
  const sums = { width: width >> 1, height: height >> 1 };
  const coarse = { width: sums.width >> 1, height: sums.height >> 1 };
  const peaks = Math.min(1 << 17, (count >> 4) + 16);
  const space = workspace(
    {
      pixels: count + (count & 1),
      type,
      sums: sums.width * sums.height,
      coarse: coarse.width * coarse.height,
      voters: 2 * mostVoters,
      votes: ballotCells(coarse.width, coarse.height),
      peaks,
      stars: (peaks + extraRecords) * numbersPerStar,
      segments: Math.ceil(sums.width / segment) + 1,
      stamp: stampRoom,
      bins: skyBins,
    },
    plain,
  );
  return {
    width,
    height,
    pixels: space.pixels,
    sums: { ...sums, values: space.sums },
    peaks: space.peaks,
    coarser: [{ ...coarse, values: space.coarse }],
    stamp: emptyStamp(space),
    workspace: space,
  };
}

/** An empty level of sums. */
export function sumPlane(width: number, height: number): SumPlane {
  return { width, height, values: new Float32Array(width * height) };
}
