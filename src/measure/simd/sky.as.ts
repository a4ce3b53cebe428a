// Histograms of the sky.

/** Counts the sums of one mesh into 4096 bins; twin: fillHistogram. Returns the lowest bin above 0 with a count. */
export function fillHistogram(
  values: usize,
  width: i32,
  fromX: i32,
  toX: i32,
  fromY: i32,
  toY: i32,
  low: f64,
  perStep: f64,
  tiltX: f64,
  tiltY: f64,
  histogram: usize,
): i32 {
  memory.fill(histogram, 0, 4096 << 2);
  const middleX = <f64>(fromX + toX - 1) / 2;
  const middleY = <f64>(fromY + toY - 1) / 2;
  const most = i32x4.splat(4095);
  const none = i32x4.splat(0);
  const step2 = f64x2.splat(perStep);
  const half = f64x2.splat(0.5);
  for (let y = fromY; y < toY; y++) {
    const base = low + tiltY * (<f64>y - middleY) + tiltX * (<f64>fromX - middleX);
    let at = values + ((<usize>(y * width + fromX)) << 2);
    let x = 0;
    const count = toX - fromX;
    let offsets = f64x2(0, tiltX);
    const forward = f64x2.splat(2 * tiltX);
    const base2 = f64x2.splat(base);
    for (; x + 4 <= count; x += 4, at += 16) {
      const v = v128.load(at);
      const lower = f64x2.promote_low_f32x4(v);
      const upper = f64x2.promote_low_f32x4(v128.shuffle<f32>(v, v, 2, 3, 2, 3));
      const a = f64x2.add(f64x2.mul(f64x2.sub(lower, f64x2.add(base2, offsets)), step2), half);
      offsets = f64x2.add(offsets, forward);
      const b = f64x2.add(f64x2.mul(f64x2.sub(upper, f64x2.add(base2, offsets)), step2), half);
      offsets = f64x2.add(offsets, forward);
      // NaN becomes 0, like what is below the range; what is far above stays the largest integer.
      const bins = v128.shuffle<i32>(i32x4.trunc_sat_f64x2_s_zero(a), i32x4.trunc_sat_f64x2_s_zero(b), 0, 1, 4, 5);
      const kept = i32x4.max_s(none, i32x4.min_s(most, bins));
      const k0 = i32x4.extract_lane(kept, 0);
      const k1 = i32x4.extract_lane(kept, 1);
      const k2 = i32x4.extract_lane(kept, 2);
      const k3 = i32x4.extract_lane(kept, 3);
      count1(histogram, k0);
      count1(histogram, k1);
      count1(histogram, k2);
      count1(histogram, k3);
    }
    for (; x < count; x++, at += 4) {
      const value = (<f64>load<f32>(at) - (base + <f64>x * tiltX)) * perStep + 0.5;
      count1(histogram, value > 0 ? <i32>Math.min(value, 4095) : 0);
    }
  }
  return firstCounted(histogram);
}

/**
 * The same without tilt, in single precision: for whole numbers below 2^24 and an odd step below 512, where every value
 * lies well inside its bin.
 */
export function fillSimpleHistogram(
  values: usize,
  width: i32,
  fromX: i32,
  toX: i32,
  fromY: i32,
  toY: i32,
  low: f64,
  perStep: f64,
  tiltX: f64,
  tiltY: f64,
  histogram: usize,
): i32 {
  memory.fill(histogram, 0, 4096 << 2);
  const low4 = f32x4.splat(<f32>low);
  const perStep4 = f32x4.splat(<f32>perStep);
  const none = f32x4.splat(0);
  const most = f32x4.splat(4095);
  // Adding 2^23 rounds to a whole number and leaves it in the low bits.
  const shift = f32x4.splat(8388608);
  const count = toX - fromX;
  for (let y = fromY; y < toY; y++) {
    let at = values + ((<usize>(y * width + fromX)) << 2);
    let x = 0;
    for (; x + 4 <= count; x += 4, at += 16) {
      const place = f32x4.mul(f32x4.sub(v128.load(at), low4), perStep4);
      // NaN becomes 0, like what is below the range.
      const kept = f32x4.pmin(most, f32x4.pmax(none, place));
      const bins = i32x4.sub(f32x4.add(kept, shift), shift);
      count1(histogram, i32x4.extract_lane(bins, 0));
      count1(histogram, i32x4.extract_lane(bins, 1));
      count1(histogram, i32x4.extract_lane(bins, 2));
      count1(histogram, i32x4.extract_lane(bins, 3));
    }
    for (; x < count; x++, at += 4) {
      const value = (<f64>load<f32>(at) - low) * perStep + 0.5;
      count1(histogram, value > 0 ? <i32>Math.min(value, 4095) : 0);
    }
  }
  return firstCounted(histogram);
}

/** The lowest bin above 0 with a count; the last when there is none. */
function firstCounted(histogram: usize): i32 {
  let first = 1;
  while (first < 4095 && (first & 15) != 0 && load<u32>(histogram + ((<usize>first) << 2)) == 0) first++;
  if ((first & 15) == 0)
    for (; first < 4080; first += 16) {
      const at = histogram + ((<usize>first) << 2);
      const lower = v128.or(v128.load(at), v128.load(at, 16));
      if (v128.any_true(v128.or(lower, v128.or(v128.load(at, 32), v128.load(at, 48))))) break;
    }
  while (first < 4095 && load<u32>(histogram + ((<usize>first) << 2)) == 0) first++;
  return first;
}

@inline
function count1(histogram: usize, bin: i32): void {
  const at = histogram + ((<usize>bin) << 2);
  store<u32>(at, load<u32>(at) + 1);
}
