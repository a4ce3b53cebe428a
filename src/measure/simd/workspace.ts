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
  /** Scratch of the profile fits. */
  readonly rows: Float32Array;
  readonly peaks: Int32Array;
  readonly sums: Float32Array;
  readonly pixels: Uint16Array | Float32Array;
}

/** Sizes in values. */
export interface WorkspaceSizes {
  readonly pixels: number;
  readonly type: "uint16" | "float32";
  readonly sums: number;
  readonly peaks: number;
  readonly segments: number;
  readonly stamp: number;
  readonly bins: number;
}

const page = 65_536;
/** The first page is the kernels' own. */
const start = page;
/** Vector loads may reach beyond the end of an array. */
const slack = 64;

/**
 * Allocates the arrays.
 * @param plain - true: without kernels, as on a machine that has no SIMD
 */
export function workspace(sizes: WorkspaceSizes, plain: boolean): Workspace {
  const bytes = { u32: 4, f32: 4, f64: 8, i32: 4, u16: 2 };
  const wanted = [
    sizes.bins * bytes.u32,
    sizes.segments * bytes.f64,
    sizes.segments * bytes.f64,
    sizes.stamp * bytes.f32,
    sizes.stamp * bytes.f32,
    96 * bytes.f64,
    48 * 4 * bytes.f32,
    sizes.peaks * bytes.i32,
    sizes.sums * bytes.f32,
    sizes.pixels * (sizes.type === "uint16" ? bytes.u16 : bytes.f32),
  ];
  const offsets: number[] = [];
  let end = start;
  for (const length of wanted) {
    offsets.push(end);
    end += Math.ceil((length + slack) / 64) * 64;
  }
  const fits = end < 2 ** 32 - page;
  const memory = !plain && fits && hasKernels() ? new WebAssembly.Memory({ initial: Math.ceil(end / page) }) : null;
  // Without kernels each array has a buffer of its own: one of several gigabytes may not be had.
  const at = (i: number): [ArrayBuffer, number] =>
    memory === null ? [new ArrayBuffer(wanted[i]! + slack), 0] : [memory.buffer as ArrayBuffer, offsets[i]!];
  const pixels = at(9);
  return {
    kernels: memory === null ? null : kernelsOver(memory),
    histogram: new Uint32Array(...at(0), sizes.bins),
    single: new Float64Array(...at(1), sizes.segments),
    filtered: new Float64Array(...at(2), sizes.segments),
    stamp: new Float32Array(...at(3), sizes.stamp),
    weights: new Float32Array(...at(4), sizes.stamp),
    out: new Float64Array(...at(5), 96),
    rows: new Float32Array(...at(6), 48 * 4),
    peaks: new Int32Array(...at(7), sizes.peaks),
    sums: new Float32Array(...at(8), sizes.sums),
    pixels:
      sizes.type === "uint16" ? new Uint16Array(...pixels, sizes.pixels) : new Float32Array(...pixels, sizes.pixels),
  };
}
