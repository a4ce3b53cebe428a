// Sums over blocks of pixels, and searches through values.

/** Turns stored 16-bit values, high byte first and less by 32768, into values; twin: readUnsigned16 in plain-image.ts. */
export function turn16(values: usize, count: i32): void {
  const topBits = i16x8.splat(-0x8000);
  const whole = count & ~7;
  for (let i = 0; i < whole; i += 8, values += 16) {
    const stored = v128.load(values);
    const turned = v128.or(i16x8.shl(stored, 8), i16x8.shr_u(stored, 8));
    v128.store(values, v128.xor(turned, topBits));
  }
  for (let i = whole; i < count; i++, values += 2)
    store<u16>(values, <u16>(((<u32>load<u8>(values) << 8) | <u32>load<u8>(values, 1)) ^ 0x8000));
}

/** Sums over 2 x 2 of 16-bit pixels for pairs of rows; twin: sumBlocks16. `width` is even. */
export function sumRows16(pixels: usize, width: i32, pairsOfRows: i32, sums: usize): void {
  const rowBytes: usize = (<usize>width) << 1;
  const whole = width & ~7;
  for (let pair = 0; pair < pairsOfRows; pair++) {
    for (let x = 0; x < whole; x += 8) {
      const upper = v128.load(pixels);
      const lower = v128.load(pixels + rowBytes);
      const sum = i32x4.add(i32x4.extadd_pairwise_i16x8_u(upper), i32x4.extadd_pairwise_i16x8_u(lower));
      v128.store(sums, f32x4.convert_i32x4_s(sum));
      pixels += 16;
      sums += 16;
    }
    for (let x = whole; x < width; x += 2) {
      const sum =
        <u32>load<u16>(pixels) + load<u16>(pixels, 2) + load<u16>(pixels + rowBytes) + load<u16>(pixels + rowBytes, 2);
      store<f32>(sums, <f32>sum);
      pixels += 4;
      sums += 4;
    }
    pixels += rowBytes;
  }
}

/**
 * Sums over 2 x 2 of single-precision values for pairs of rows; twin: sumBlocksFloat. Added in pairs, which gives the same
 * only where the sums are exact, as those of 16-bit pixels are.
 */
export function sumRowsFloat(values: usize, width: i32, pairsOfRows: i32, sums: usize): void {
  const rowBytes: usize = (<usize>width) << 2;
  const half = width >> 1;
  for (let pair = 0; pair < pairsOfRows; pair++) {
    const upper = values + <usize>(2 * pair) * rowBytes;
    const lower = upper + rowBytes;
    let x = 0;
    for (; x + 4 <= half; x += 4) {
      const at = (<usize>x) << 3;
      const left = f32x4.add(v128.load(upper + at), v128.load(lower + at));
      const right = f32x4.add(v128.load(upper + at, 16), v128.load(lower + at, 16));
      const sum = f32x4.add(v128.shuffle<f32>(left, right, 0, 2, 4, 6), v128.shuffle<f32>(left, right, 1, 3, 5, 7));
      v128.store(sums, sum);
      sums += 16;
    }
    for (; x < half; x++) {
      const at = (<usize>x) << 3;
      store<f32>(
        sums,
        load<f32>(upper + at) + load<f32>(upper + at, 4) + load<f32>(lower + at) + load<f32>(lower + at, 4),
      );
      sums += 4;
    }
  }
}

/** Largest value of single-precision values, NaN left out; -Infinity when all are NaN. */
export function largest(values: usize, count: i32): f32 {
  let most = f32x4.splat(-Infinity);
  const whole = count & ~3;
  for (let i = 0; i < whole; i += 4) {
    const v = v128.load(values + ((<usize>i) << 2));
    most = v128.bitselect(v, most, f32x4.gt(v, most));
  }
  let best = max(
    max(f32x4.extract_lane(most, 0), f32x4.extract_lane(most, 1)),
    max(f32x4.extract_lane(most, 2), f32x4.extract_lane(most, 3)),
  );
  for (let i = whole; i < count; i++) {
    const value = load<f32>(values + ((<usize>i) << 2));
    if (value > best) best = value;
  }
  return best;
}

/** Index of the next value from `from` on that is no less than `floor`, or `count`. */
export function nextAtLeast(values: usize, from: i32, count: i32, floor: f32): i32 {
  const limit = f32x4.splat(floor);
  let i = from;
  for (; i + 16 <= count; i += 16) {
    const at = values + ((<usize>i) << 2);
    const any = v128.or(
      v128.or(f32x4.ge(v128.load(at), limit), f32x4.ge(v128.load(at, 16), limit)),
      v128.or(f32x4.ge(v128.load(at, 32), limit), f32x4.ge(v128.load(at, 48), limit)),
    );
    if (v128.any_true(any)) break;
  }
  for (; i < count; i++) if (load<f32>(values + ((<usize>i) << 2)) >= floor) return i;
  return count;
}
