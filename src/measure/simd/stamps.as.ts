// Cut-outs around a place.

/** Cuts a square of 16-bit pixels that lies wholly inside the frame, the sky taken off; twin: cutStamp. */
export function cut16(pixels: usize, width: i32, left: i32, top: i32, side: i32, sky: f32, into: usize): void {
  const level = f32x4.splat(sky);
  for (let y = 0; y < side; y++) {
    const from = pixels + ((<usize>((top + y) * width + left)) << 1);
    const out = into + ((<usize>(y * side)) << 2);
    // The last step of a row writes a few values of the next one, which are written right after; room follows the stamp.
    for (let x = 0; x < side; x += 8) {
      const eight = v128.load(from + ((<usize>x) << 1));
      const at = out + ((<usize>x) << 2);
      v128.store(at, f32x4.sub(f32x4.convert_i32x4_s(i32x4.extend_low_i16x8_u(eight)), level));
      v128.store(at, f32x4.sub(f32x4.convert_i32x4_s(i32x4.extend_high_i16x8_u(eight)), level), 16);
    }
  }
}

/**
 * Takes four skies off a square of side x side values and multiplies by four balances, one for each place in 2 x 2; twin:
 * balanceStamp. `numbers` holds the skies, then the balances.
 */
export function balance(stamp: usize, side: i32, numbers: usize): void {
  for (let y = 0; y < side; y++) {
    const own = numbers + ((<usize>(y & 1)) << 4);
    const sky = v128.load(own);
    const factor = v128.load(own, 32);
    const row = stamp + ((<usize>(y * side)) << 2);
    let x = 0;
    for (; x + 2 <= side; x += 2) {
      const at = row + ((<usize>x) << 2);
      const two = f64x2.promote_low_f32x4(v128.load64_zero(at));
      v128.store64_lane(at, f32x4.demote_f64x2_zero(f64x2.mul(f64x2.sub(two, sky), factor)), 0);
    }
    if (x < side) {
      const at = row + ((<usize>x) << 2);
      store<f32>(at, <f32>((<f64>load<f32>(at) - load<f64>(own)) * load<f64>(own, 32)));
    }
  }
}
