// Cut-outs around a place.

/** Cuts a square of 16-bit pixels that lies wholly inside the frame, the sky taken off; twin: cutStamp. */
export function cut16(pixels: usize, width: i32, left: i32, top: i32, side: i32, sky: f32, into: usize): void {
  const level = f32x4.splat(sky);
  for (let y = 0; y < side; y++) {
    const from = pixels + ((<usize>((top + y) * width + left)) << 1);
    const out = into + ((<usize>(y * side)) << 2);
    // The last step of a row writes a few values of the next one, which are written right after; room follows the stamp.
    for (let x = 0; x < side; x += 4) {
      const four = f32x4.convert_i32x4_u(v128.load16x4_u(from + ((<usize>x) << 1)));
      v128.store(out + ((<usize>x) << 2), f32x4.sub(four, level));
    }
  }
}
