import type { FrameBuffers } from "./frame-buffers.js";

/** Where the sensor's limit lies, and how much of the frame is at it. */
export interface Saturation {
  /** Value from which a pixel counts as saturated; Infinity: no limit is seen in the frame. */
  readonly levelAdu: number;
  /** Fraction of the pixels at or above it. */
  readonly fraction: number;
  /** The largest pixel; NaN when no pixel has a value. */
  readonly largestAdu: number;
}

const largest16 = 65535;
/** A frame that is constant at this value or above is taken to be overexposed (12-bit sensors stop at 4095). */
const fullScale = 4000;

/**
 * Finds the sensor's limit and counts the pixels at it. Without a known limit it is taken to be the largest value of
 * the frame, if several pixels have exactly that value, as only a limit makes them: four and more, or two side by
 * side, as in a star, while equal hot pixels are apart. A single pixel at the limit cannot be told from a peak.
 * @param known - limit in ADU, or NaN
 */
export function measureSaturation({ pixels, width, sums, workspace }: FrameBuffers, known: number): Saturation {
  const { kernels } = workspace;
  const { values } = sums;
  const largestSum = kernels === null ? largestOf(values) : kernels.largest(values.byteOffset, values.length);
  if (largestSum === Number.NEGATIVE_INFINITY)
    return { levelAdu: Number.POSITIVE_INFINITY, fraction: 0, largestAdu: Number.NaN };
  // A pixel that is the largest lies in a block whose sum is no less than a quarter of the largest sum.
  const floor = Number.isNaN(known) ? largestSum / 4 : known;
  let largest = Number.NEGATIVE_INFINITY;
  let atLargest = 0;
  const first = new Int32Array(4);
  let atKnown = 0;
  const next = (from: number) =>
    kernels === null
      ? nextAtLeast(values, from, floor)
      : kernels.nextAtLeast(values.byteOffset, from, values.length, floor);
  for (let sum = next(0); sum < values.length; sum = next(sum + 1)) {
    const at = 2 * (Math.floor(sum / sums.width) * width + (sum % sums.width));
    for (let k = 0; k < 4; k++) {
      const value = pixels[at + (k & 1) + (k >> 1) * width]!;
      if (value >= known) atKnown++;
      if (value > largest) {
        largest = value;
        atLargest = 1;
        first[0] = at + (k & 1) + (k >> 1) * width;
      } else if (value === largest) {
        if (atLargest < first.length) first[atLargest] = at + (k & 1) + (k >> 1) * width;
        atLargest++;
      }
    }
  }
  const count = 4 * sums.width * sums.height;
  if (!Number.isNaN(known)) return { levelAdu: known, fraction: atKnown / count, largestAdu: largest };
  const piledUp =
    (pixels instanceof Uint16Array && largest === largest16) ||
    (atLargest >= 4 && (2 * atLargest < count || largest >= fullScale)) ||
    (largest >= fullScale && sideBySide(first.subarray(0, Math.min(atLargest, first.length)), width));
  return piledUp
    ? { levelAdu: largest, fraction: atLargest / count, largestAdu: largest }
    : { levelAdu: Number.POSITIVE_INFINITY, fraction: 0, largestAdu: largest };
}

/** True when two of some pixels touch. */
function sideBySide(places: Int32Array, width: number): boolean {
  return places.some((one, i) =>
    places.subarray(i + 1).some((other) => {
      const across = Math.abs((one % width) - (other % width));
      const down = Math.abs(Math.floor(one / width) - Math.floor(other / width));
      return across <= 1 && down <= 1;
    }),
  );
}

function largestOf(values: Float32Array): number {
  let largest = Number.NEGATIVE_INFINITY;
  for (let i = 0; i < values.length; i++) if (values[i]! > largest) largest = values[i]!;
  return largest;
}

/** Index of the next value from `from` on that is no less than `floor`; the length when there is none. */
function nextAtLeast(values: Float32Array, from: number, floor: number): number {
  let i = from;
  while (i < values.length && !(values[i]! >= floor)) i++;
  return i;
}
