import { hasKernels, type Kernels, kernelsOver } from "./kernels.js";

/** Arrays that lie in one memory with the kernels that work on them; `null` kernels: plain arrays, plain TypeScript. */
export interface Workspace {
  readonly kernels: Kernels | null;
  readonly histogram: Uint32Array;
  /** Thresholds of a row of sums, by segment. */
  readonly single: Float64Array;
  readonly filtered: Float64Array;
  readonly stamp: Float32Array;
  readonly weights: Float32Array;
  /** Where kernels leave their results, and parameters are handed over. */
  readonly out: Float64Array;
  /** What is told and learnt of a few hundred stars at once. */
  readonly queue: Float64Array;
  /** Scratch of the profile fits. */
  readonly rows: Float32Array;
  readonly peaks: Int32Array;
  /** What the peaks are, and the numbers of those that are stars. */
  readonly kinds: Uint8Array;
  readonly stars: Float64Array;
  /** Those that are kept, brightest first. */
  readonly ranked: Float64Array;
  /** Sums over 4 x 4 pixels, where starlight hides their sky, and places among them. */
  readonly coarse: Float32Array;
  readonly starlit: Uint8Array;
  readonly places: Int32Array;
  /** Start, rise and height of what is asked of a block of 16 of them. */
  readonly lines: Float64Array;
  /** Places that vote for lines: all x, then all y; and their votes. */
  readonly voters: Float64Array;
  readonly votes: Uint16Array;
  readonly sums: Float32Array;
  readonly pixels: Uint16Array | Float32Array;
}

/** Sizes in values. */
export interface WorkspaceSizes {
  readonly pixels: number;
  readonly type: "uint16" | "float32";
  readonly sums: number;
  readonly coarse: number;
  readonly voters: number;
  readonly votes: number;
  readonly peaks: number;
  readonly stars: number;
  readonly segments: number;
  readonly stamp: number;
  readonly bins: number;
}

/** Room of the queue. */
const queueNumbers = 12 * 256;
const page = 65_536;
/** The first page is the kernels' own. */
const start = page;
/** Vector loads may reach beyond the end of an array. */
const slack = 64;
const aligned = (bytes: number) => Math.ceil((bytes + slack) / 64) * 64;

/**
 * Allocates the arrays.
 * @param plain - true: without kernels, as on a machine that has no SIMD
 */
export function workspace(sizes: WorkspaceSizes, plain: boolean): Workspace {
  const arrays = {
    histogram: [Uint32Array, sizes.bins],
    single: [Float64Array, sizes.segments],
    filtered: [Float64Array, sizes.segments],
    stamp: [Float32Array, sizes.stamp],
    weights: [Float32Array, sizes.stamp],
    out: [Float64Array, 96],
    queue: [Float64Array, queueNumbers],
    rows: [Float32Array, 48 * 4],
    peaks: [Int32Array, sizes.peaks],
    kinds: [Uint8Array, sizes.peaks],
    stars: [Float64Array, sizes.stars],
    ranked: [Float64Array, sizes.stars],
    coarse: [Float32Array, sizes.coarse],
    starlit: [Uint8Array, sizes.coarse],
    places: [Int32Array, sizes.coarse],
    lines: [Float64Array, 3 * sizes.segments],
    voters: [Float64Array, sizes.voters],
    votes: [Uint16Array, sizes.votes],
    sums: [Float32Array, sizes.sums],
    pixels: [sizes.type === "uint16" ? Uint16Array : Float32Array, sizes.pixels],
  } as const;
  let end = start;
  for (const [kind, length] of Object.values(arrays)) end += aligned(length * kind.BYTES_PER_ELEMENT);
  const fits = end < 2 ** 32 - page;
  const memory = !plain && fits && hasKernels() ? new WebAssembly.Memory({ initial: Math.ceil(end / page) }) : null;
  let offset = start;
  const made = Object.entries(arrays).map(([name, [kind, length]]) => {
    // Without kernels each array has a buffer of its own: one of several gigabytes may not be had.
    const array = memory === null ? new kind(length) : new kind(memory.buffer, offset, length);
    offset += aligned(length * kind.BYTES_PER_ELEMENT);
    return [name, array];
  });
  return { kernels: memory === null ? null : kernelsOver(memory), ...Object.fromEntries(made) } as Workspace;
}
