// Places that stand out of the sky, and their votes for lines.

/**
 * Places of one row of sums that are brighter than straight lines over blocks of 16, outside of starlight; twin:
 * brighterInRow. `lines` holds start, rise and lift of each block. Returns how many places there are now.
 */
export function brighterInRow(
  values: usize,
  starlit: usize,
  width: i32,
  row: i32,
  lines: usize,
  places: usize,
  found: i32,
): i32 {
  const start = row * width;
  for (let block = 0; block < width; block += 16, lines += 24) {
    const end = min(width - 1, block + 16);
    const sky = load<f64>(lines);
    const rise = load<f64>(lines, 8);
    const lift = load<f64>(lines, 16);
    // A little low, as single precision rounds; the exact test follows where anything stands out.
    const last = sky + 15 * rise;
    const lowest = (rise < 0 ? last : sky) + lift;
    const limit = f32x4.splat(<f32>(lowest - 1e-6 * Math.abs(lowest)));
    const at = values + ((<usize>(start + block)) << 2);
    const a = f32x4.ge(v128.load(at), limit);
    const b = f32x4.ge(v128.load(at, 16), limit);
    const c = f32x4.ge(v128.load(at, 32), limit);
    const d = f32x4.ge(v128.load(at, 48), limit);
    let bright = i8x16.bitmask(i8x16.narrow_i16x8_s(i16x8.narrow_i32x4_s(a, b), i16x8.narrow_i32x4_s(c, d)));
    for (; bright != 0; bright &= bright - 1) {
      const column = block + ctz(bright);
      if (column == 0 || column >= end) continue;
      const place = start + column;
      const value = <f64>load<f32>(values + ((<usize>place) << 2));
      if (!(value > sky + rise * <f64>(column - block) + lift) || load<u8>(starlit + <usize>place) == 1) continue;
      store<i32>(places + ((<usize>found) << 2), place);
      found++;
    }
  }
  return found;
}

/**
 * Counts the votes of places for the lines of one direction through them; twin: Ballot. `base` is the cell of the line
 * through the origin.
 */
export function vote(x: usize, y: usize, count: i32, cosine: f64, sine: f64, base: i32, votes: usize): void {
  // Adding 2^52 rounds to a whole number and leaves it in the low bits.
  const whole = f64x2.splat(4503599627370496.0 + <f64>base);
  const cosine2 = f64x2.splat(cosine);
  const sine2 = f64x2.splat(sine);
  for (let i = 0; i < count; i += 2) {
    const across = f64x2.add(f64x2.mul(v128.load(x), cosine2), f64x2.mul(v128.load(y), sine2));
    const cells = f64x2.add(across, whole);
    addVote(votes, i32x4.extract_lane(cells, 0));
    if (i + 1 < count) addVote(votes, i32x4.extract_lane(cells, 2));
    x += 16;
    y += 16;
  }
}

@inline
function addVote(votes: usize, cell: i32): void {
  const at = votes + ((<usize>cell) << 1);
  store<u16>(at, load<u16>(at) + 1);
}

/** Index of the first of the largest of 16-bit values. */
export function firstLargest16(values: usize, count: i32): i32 {
  let most = i16x8.splat(0);
  const whole = count & ~7;
  for (let i = 0; i < whole; i += 8) most = i16x8.max_u(most, v128.load(values + ((<usize>i) << 1)));
  let best: u32 = 0;
  for (let i = whole; i < count; i++) best = max(best, <u32>load<u16>(values + ((<usize>i) << 1)));
  most = i16x8.max_u(most, v128.shuffle<i16>(most, most, 4, 5, 6, 7, 0, 1, 2, 3));
  most = i16x8.max_u(most, v128.shuffle<i16>(most, most, 2, 3, 0, 1, 2, 3, 0, 1));
  most = i16x8.max_u(most, v128.shuffle<i16>(most, most, 1, 0, 1, 0, 1, 0, 1, 0));
  best = max(best, <u32>i16x8.extract_lane_u(most, 0));
  const wanted = i16x8.splat(<i16>best);
  let i = 0;
  for (; i < whole; i += 8) if (v128.any_true(i16x8.eq(v128.load(values + ((<usize>i) << 1)), wanted))) break;
  while (i < count && <u32>load<u16>(values + ((<usize>i) << 1)) != best) i++;
  return i;
}
