import { kernelBytes } from "./bytes.js";

/** The functions of the .as.ts files, where they are described; addresses are bytes in their memory. */
export interface Kernels {
  turn16(values: number, count: number): void;
  sumRows16(pixels: number, width: number, pairsOfRows: number, sums: number): void;
  largest(values: number, count: number): number;
  nextAtLeast(values: number, from: number, count: number, floor: number): number;
  fillHistogram(
    values: number,
    width: number,
    fromX: number,
    toX: number,
    fromY: number,
    toY: number,
    low: number,
    perStep: number,
    tiltX: number,
    tiltY: number,
    histogram: number,
  ): number;
  fillSimpleHistogram: Kernels["fillHistogram"];
  peaksInRow(
    values: number,
    width: number,
    y: number,
    single: number,
    filtered: number,
    segments: number,
    peaks: number,
    found: number,
    room: number,
  ): number;
  cut16(pixels: number, width: number, left: number, top: number, side: number, sky: number, into: number): void;
  adaptive(
    stamp: number,
    radius: number,
    startX: number,
    startY: number,
    startXX: number,
    startXY: number,
    startYY: number,
    drift: number,
    settled: number,
    out: number,
  ): number;
  fixed(
    stamp: number,
    radius: number,
    startX: number,
    startY: number,
    weight: number,
    drift: number,
    out: number,
  ): 0 | 1 | 2;
  lightUnder(
    stamp: number,
    radius: number,
    x: number,
    y: number,
    inverseXX: number,
    inverseXY: number,
    inverseYY: number,
    out: number,
  ): void;
  lightUnder16(pixels: number, width: number, height: number, rows: number, count: number, balance: number): void;
  growth(
    stamp: number,
    radius: number,
    x: number,
    y: number,
    outer: number,
    fraction: number,
    scratch: number,
    out: number,
  ): number;
  foreign(stamp: number, radius: number, x: number, y: number, outer: number, sigma: number, out: number): void;
  moffatImage(p: number, radius: number, into: number): void;
  moffatWeights(p: number, radius: number, skyVariance: number, perValue: number, weights: number): void;
  compareMoffat(
    p: number,
    stamp: number,
    stampRadius: number,
    radius: number,
    weights: number,
    fineLimit: number,
    into: number,
    rows: number,
  ): number;
  balance(stamp: number, side: number, numbers: number): void;
  lookAt16(
    pixels: number,
    width: number,
    height: number,
    peaks: number,
    count: number,
    widthOfSums: number,
    radius: number,
    largestRadius: number,
    guessXX: number,
    guessXY: number,
    guessYY: number,
    sigma: number,
    saturation: number,
    finestStep: number,
    coarsestStep: number,
    stepInNoise: number,
    stamp: number,
    out: number,
    records: number,
    kinds: number,
    balances: number,
  ): void;
  brighterInRow(
    values: number,
    starlit: number,
    width: number,
    row: number,
    lines: number,
    places: number,
    found: number,
  ): number;
  vote(x: number, y: number, count: number, cosine: number, sine: number, base: number, votes: number): void;
  firstLargest16(values: number, count: number): number;
  sumRowsFloat(values: number, width: number, pairsOfRows: number, sums: number): void;
}

let compiled: WebAssembly.Module | null | undefined;

/** Whether this machine's WebAssembly has SIMD; without it the plain TypeScript does the work. */
export function hasKernels(): boolean {
  compiled ??= compile();
  return compiled !== null;
}

/**
 * The kernels over a memory.
 * @throws Error when there are none; ask {@link hasKernels} first
 */
export function kernelsOver(memory: WebAssembly.Memory): Kernels {
  if (!hasKernels()) throw new Error("no WebAssembly SIMD here");
  const abort = () => {
    throw new Error("a kernel stopped");
  };
  return new WebAssembly.Instance(compiled!, { env: { memory, abort } }).exports as unknown as Kernels;
}

function compile(): WebAssembly.Module | null {
  const bytes = Buffer.from(kernelBytes, "base64");
  return typeof WebAssembly === "object" && WebAssembly.validate(bytes) ? new WebAssembly.Module(bytes) : null;
}
