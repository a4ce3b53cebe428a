import type { Mosaic } from "./mosaic.js";
import type { Kernels } from "./simd/kernels.js";

/** The largest radius of a stamp, in pixels of its plane. */
export const mostStampRadius = 64;

/**
 * A square cut-out around a place, with the sky taken off. Everything that measures one star works on stamps, so the
 * inner loops see one type of array only. NaN: outside the frame, or no value.
 */
export interface Stamp {
  /** Side x side values, row after row; side = 2 radius + 1. */
  readonly values: Float32Array;
  /** Room for a weight of each value. */
  readonly weights: Float32Array;
  /** Results of the kernels. */
  readonly out: Float64Array;
  /** What kernels are told of several stars at once. */
  readonly queue: Float64Array;
  readonly rows: Float32Array;
  /** Work on these arrays; null: plain TypeScript does. */
  readonly kernels: Kernels | null;
  radius: number;
  side: number;
  /** Pixel of the plane that lies in the middle. */
  centreX: number;
  centreY: number;
  /** How many values are missing. */
  missing: number;
}

/** Values of the largest stamp. */
export const stampRoom = (2 * mostStampRadius + 1) ** 2;

/** An empty stamp in a place with room for the largest radius. */
export function emptyStamp({
  stamp: values,
  weights,
  out,
  queue,
  rows,
  kernels,
}: {
  readonly stamp: Float32Array;
  readonly weights: Float32Array;
  readonly out: Float64Array;
  readonly queue: Float64Array;
  readonly rows: Float32Array;
  readonly kernels: Kernels | null;
}): Stamp {
  return { values, weights, out, queue, rows, kernels, radius: 0, side: 0, centreX: 0, centreY: 0, missing: 0 };
}

/** Where stamps are cut from: pixels of the frame, or sums of them. */
export interface Source {
  readonly width: number;
  readonly height: number;
  readonly values: Uint16Array | Float32Array;
  /** Colour mosaic of the pixels; null for mono frames and for sums. */
  readonly mosaic: Mosaic | null;
}

/**
 * Cuts a stamp.
 * @param sky - level to take off
 */
export function cutStamp(
  source: Source,
  centreX: number,
  centreY: number,
  radius: number,
  sky: number,
  stamp: Stamp,
): void {
  const { width, height, values } = source;
  const side = 2 * radius + 1;
  stamp.radius = radius;
  stamp.side = side;
  stamp.centreX = centreX;
  stamp.centreY = centreY;
  const left = centreX - radius;
  const top = centreY - radius;
  const fromX = Math.max(0, -left);
  const toX = Math.min(side, width - left);
  const into = stamp.values;
  const { kernels } = stamp;
  const inside = left >= 0 && top >= 0 && left + side <= width && top + side <= height;
  if (kernels !== null && inside && values instanceof Uint16Array && values.buffer === into.buffer) {
    kernels.cut16(values.byteOffset, width, left, top, side, sky, into.byteOffset);
    if (source.mosaic !== null) balanceStamp(source.mosaic, stamp);
    stamp.missing = 0;
    return;
  }
  if (fromX > 0 || toX < side || top < 0 || top + side > height) into.fill(Number.NaN, 0, side * side);
  for (let y = Math.max(0, -top), end = Math.min(side, height - top); y < end; y++) {
    const row = (top + y) * width + left;
    const out = y * side;
    for (let x = fromX; x < toX; x++) into[out + x] = values[row + x]! - sky;
  }
  if (source.mosaic !== null) balanceStamp(source.mosaic, stamp);
  stamp.missing = 0;
  for (let i = 0; i < side * side; i++) if (Number.isNaN(into[i]!)) stamp.missing++;
}

/** Takes off what each channel's sky differs from the mean, and multiplies by the channel's balance. */
function balanceStamp(mosaic: Mosaic, stamp: Stamp): void {
  const { side, centreX, centreY, radius, values, kernels, out } = stamp;
  for (let channel = 0; channel < 4; channel++) {
    const offset = mosaic.offsets[channel]!.within(centreX / 2, centreY / 2);
    const balance = mosaic.balance[channel]!;
    if (kernels !== null) {
      // In the order of the places in the stamp's first 2 x 2.
      const place = (((centreX - radius) & 1) ^ (channel & 1)) | ((((centreY - radius) & 1) ^ (channel >> 1)) << 1);
      out[place] = offset;
      out[4 + place] = balance;
      continue;
    }
    const fromX = (centreX - radius + (channel & 1)) & 1;
    const fromY = (centreY - radius + (channel >> 1)) & 1;
    for (let y = fromY; y < side; y += 2)
      for (let x = fromX; x < side; x += 2) values[y * side + x] = (values[y * side + x]! - offset) * balance;
  }
  if (kernels !== null) kernels.balance(values.byteOffset, side, out.byteOffset);
}

/** Leaves only the pixels of the colour that covers half of the mosaic (green); the others become NaN. */
export function keepGreen(mosaic: Mosaic, stamp: Stamp): void {
  const { side, centreX, centreY, radius, values } = stamp;
  const parity = (centreX - radius + centreY - radius + mosaic.greenParity) & 1;
  for (let y = 0; y < side; y++) for (let x = (y + parity + 1) & 1; x < side; x += 2) values[y * side + x] = Number.NaN;
}
