// Local maxima.

@inline
function smoothed(at: usize, row: usize): f64 {
  return (
    <f64>load<f32>(at - row - 4) +
    <f64>load<f32>(at - row + 4) +
    <f64>load<f32>(at + row - 4) +
    <f64>load<f32>(at + row + 4) +
    2 * (<f64>load<f32>(at - row) + <f64>load<f32>(at - 4) + <f64>load<f32>(at + 4) + <f64>load<f32>(at + row)) +
    4 * <f64>load<f32>(at)
  );
}

/** Weights 1-2-1 down a column, for four columns. */
@inline
function columns4(at: usize, row: usize): v128 {
  return f32x4.add(f32x4.add(v128.load(at - row), v128.load(at + row)), twice(v128.load(at)));
}

/** Weights 1-2-1 across four columns, of which there is one more on either side. */
@inline
function across4(before: v128, here: v128, after: v128): v128 {
  const left = v128.shuffle<f32>(before, here, 3, 4, 5, 6);
  const right = v128.shuffle<f32>(here, after, 1, 2, 3, 4);
  return f32x4.add(f32x4.add(left, right), twice(here));
}

/** Which of four values are no lower than those on either side, or so little that single precision may be wrong. */
@inline
function isRidge(before: v128, here: v128, after: v128): v128 {
  const most = f32x4.add(here, f32x4.mul(f32x4.abs(here), f32x4.splat(1e-6)));
  const left = v128.shuffle<f32>(before, here, 3, 4, 5, 6);
  const right = v128.shuffle<f32>(here, after, 1, 2, 3, 4);
  return v128.and(f32x4.ge(most, left), f32x4.ge(most, right));
}

@inline
function twice(v: v128): v128 {
  return f32x4.add(v, v);
}

/** Local maxima of the smoothed sums in one row; twin: peaksInRow. Thresholds are one a segment of 16 sums. */
export function peaksInRow(
  values: usize,
  width: i32,
  y: i32,
  single: usize,
  filtered: usize,
  segments: i32,
  peaks: usize,
  found: i32,
  room: i32,
): i32 {
  const row: usize = (<usize>width) << 2;
  const start = values + <usize>y * row;
  // The columns before those of the next whole segment, and its first ones.
  let before = f32x4.splat(0);
  let first = before;
  // What was smoothed last.
  let smoothBefore = f32x4.splat(-Infinity);
  if (width >= 32) {
    before = columns4(start + 48, row);
    first = columns4(start + 64, row);
  }
  for (let s = 0; s < segments; s++) {
    const from = s == 0 ? 2 : s << 4;
    const end = min(width - 2, (s + 1) << 4);
    const least = load<f64>(filtered + ((<usize>s) << 3));
    if (s > 0 && end - from == 16) {
      const at = start + ((<usize>from) << 2);
      const second = columns4(at + 16, row);
      const third = columns4(at + 32, row);
      const fourth = columns4(at + 48, row);
      const next = columns4(at + 64, row);
      // A little low, as single precision rounds; the exact test follows where anything stands out.
      const limit = f32x4.splat(<f32>(least - 1e-6 * Math.abs(least)));
      const smoothA = across4(before, first, second);
      const smoothB = across4(first, second, third);
      const smoothC = across4(second, third, fourth);
      const smoothD = across4(third, fourth, next);
      let a = f32x4.ge(smoothA, limit);
      let b = f32x4.ge(smoothB, limit);
      let c = f32x4.ge(smoothC, limit);
      let d = f32x4.ge(smoothD, limit);
      before = fourth;
      first = next;
      const left = smoothBefore;
      smoothBefore = smoothD;
      if (!v128.any_true(v128.or(v128.or(a, b), v128.or(c, d)))) continue;
      a = v128.and(a, isRidge(left, smoothA, smoothB));
      b = v128.and(b, isRidge(smoothA, smoothB, smoothC));
      c = v128.and(c, isRidge(smoothB, smoothC, smoothD));
      d = v128.and(d, isRidge(smoothC, smoothD, f32x4.splat(-Infinity)));
      const threshold = load<f64>(single + ((<usize>s) << 3));
      let high = i8x16.bitmask(i8x16.narrow_i16x8_s(i16x8.narrow_i32x4_s(a, b), i16x8.narrow_i32x4_s(c, d)));
      for (; high != 0; high &= high - 1) {
        const x = from + ctz(high);
        if (found < room && isPeak(start + ((<usize>x) << 2), row, threshold, least)) {
          store<i32>(peaks + ((<usize>found) << 2), y * width + x);
          found++;
        }
      }
      continue;
    }
    const threshold = load<f64>(single + ((<usize>s) << 3));
    for (let x = from; x < end; x++)
      if (found < room && isPeak(start + ((<usize>x) << 2), row, threshold, least)) {
        store<i32>(peaks + ((<usize>found) << 2), y * width + x);
        found++;
      }
  }
  return found;
}

function isPeak(at: usize, row: usize, threshold: f64, least: f64): bool {
  if (!(<f64>load<f32>(at) > threshold)) return false;
  const here = smoothed(at, row);
  return (
    here > least &&
    here >= smoothed(at - row, row) &&
    here > smoothed(at + row, row) &&
    here >= smoothed(at - 4, row) &&
    here > smoothed(at + 4, row) &&
    here >= smoothed(at - row - 4, row) &&
    here >= smoothed(at - row + 4, row) &&
    here > smoothed(at + row - 4, row) &&
    here > smoothed(at + row + 4, row)
  );
}
