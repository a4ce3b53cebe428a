import { CodeError } from "./code-error.js";
import type { PixelArray } from "./pixels.js";

/** Bits of the split size that lead each block, and the split size that marks a block stored as it is. */
export const riceParameters = { 1: { bits: 3, raw: 6 }, 2: { bits: 4, raw: 14 }, 4: { bits: 5, raw: 25 } } as const;
export type RiceBytes = keyof typeof riceParameters;

/**
 * Decodes RICE_1 (FITS Standard 4.0, section 10.4.1): differences of neighbours, folded to non-negative, each written as
 * a unary quotient and a binary remainder whose length changes from block to block.
 * @param code - the compressed bytes of one tile
 * @param count - pixels in the tile
 * @param blockSize - pixels that share a split size, 32 unless the header says otherwise
 * @param bytesPerPixel - 1, 2 or 4
 * @param into - receives signed (1: unsigned) integers
 * @throws CodeError when the code ends early
 */
export function riceDecode(
  code: Uint8Array,
  count: number,
  blockSize: number,
  bytesPerPixel: RiceBytes,
  into: PixelArray,
): void {
  const { bits, raw } = riceParameters[bytesPerPixel];
  const width = 8 * bytesPerPixel;
  const end = code.length;
  if (end < bytesPerPixel) throw new CodeError("the Rice code is empty");
  let last = 0;
  for (let i = 0; i < bytesPerPixel; i++) last = (last << 8) | code[i]!;
  last = fold(last, width);
  let at: number = bytesPerPixel;
  // `held` has its `left` unread bits at the low end.
  let held = 0;
  let left = 0;
  for (let pixel = 0; pixel < count; ) {
    const blockEnd = Math.min(pixel + blockSize, count);
    while (left < bits) {
      if (at >= end) throw new CodeError("the Rice code ends early");
      held = ((held << 8) | code[at++]!) & 0xffff;
      left += 8;
    }
    left -= bits;
    const split = (held >>> left) - 1;
    held &= (1 << left) - 1;
    if (split < 0) {
      while (pixel < blockEnd) into[pixel++] = last;
      continue;
    }
    if (split === raw) {
      for (; pixel < blockEnd; pixel++) {
        let value = held;
        let need = width - left;
        while (need >= 8) {
          if (at >= end) throw new CodeError("the Rice code ends early");
          value = (value << 8) | code[at++]!;
          need -= 8;
        }
        if (need > 0) {
          if (at >= end) throw new CodeError("the Rice code ends early");
          const byte = code[at++]!;
          value = (value << need) | (byte >>> (8 - need));
          left = 8 - need;
          held = byte & ((1 << left) - 1);
        } else {
          held = 0;
          left = 0;
        }
        last = fold(last + ((value >>> 1) ^ -(value & 1)), width);
        into[pixel] = last;
      }
      continue;
    }
    if (split > raw) throw new CodeError(`the Rice code has a split size of ${split}, the most is ${raw}`);
    for (; pixel < blockEnd; pixel++) {
      while (held === 0) {
        if (at >= end) throw new CodeError("the Rice code ends early");
        held = code[at++]!;
        left += 8;
      }
      const top = 31 - Math.clz32(held);
      const zeros = left - 1 - top;
      left = top;
      held ^= 1 << top;
      while (left < split) {
        if (at >= end) throw new CodeError("the Rice code ends early");
        // At most 23 remainder bits are held when the last byte comes, so nothing is shifted out at the top.
        held = (held << 8) | code[at++]!;
        left += 8;
      }
      left -= split;
      const value = (zeros << split) | (held >>> left);
      held &= (1 << left) - 1;
      last = fold(last + ((value >>> 1) ^ -(value & 1)), width);
      into[pixel] = last;
    }
  }
}

/** Wraps to the width of a pixel: bytes stay unsigned, wider ones are signed. */
function fold(value: number, width: number): number {
  return width === 8 ? value & 0xff : width === 16 ? (value << 16) >> 16 : value | 0;
}
