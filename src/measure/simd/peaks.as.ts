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

@inline
function smoothed4(at: usize, row: usize): v128 {
  const above = at - row;
  const below = at + row;
  const left = f32x4.add(f32x4.add(v128.load(above - 4), v128.load(below - 4)), twice(v128.load(at - 4)));
  const middle = f32x4.add(f32x4.add(v128.load(above), v128.load(below)), twice(v128.load(at)));
  const right = f32x4.add(f32x4.add(v128.load(above + 4), v128.load(below + 4)), twice(v128.load(at + 4)));
  return f32x4.add(f32x4.add(left, right), twice(middle));
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
  for (let s = 0; s < segments; s++) {
    const threshold = load<f64>(single + ((<usize>s) << 3));
    const from = s == 0 ? 2 : s << 4;
    const end = min(width - 2, (s + 1) << 4);
    const least = load<f64>(filtered + ((<usize>s) << 3));
    if (s > 0 && end - from == 16) {
      const at = start + ((<usize>from) << 2);
      // A little low, as single precision rounds; the exact test follows where anything stands out.
      const limit = f32x4.splat(<f32>(least - 1e-6 * Math.abs(least)));
      const any = v128.or(
        v128.or(f32x4.ge(smoothed4(at, row), limit), f32x4.ge(smoothed4(at + 16, row), limit)),
        v128.or(f32x4.ge(smoothed4(at + 32, row), limit), f32x4.ge(smoothed4(at + 48, row), limit)),
      );
      if (!v128.any_true(any)) continue;
    }
    for (let x = from; x < end; x++) {
      const at = start + ((<usize>x) << 2);
      if (!(<f64>load<f32>(at) > threshold)) continue;
      const here = smoothed(at, row);
      if (!(here > least)) continue;
      if (
        here < smoothed(at - 4, row) ||
        here <= smoothed(at + 4, row) ||
        here < smoothed(at - row, row) ||
        here <= smoothed(at + row, row) ||
        here < smoothed(at - row - 4, row) ||
        here < smoothed(at - row + 4, row) ||
        here <= smoothed(at + row - 4, row) ||
        here <= smoothed(at + row + 4, row)
      )
        continue;
      if (found < room) {
        store<i32>(peaks + ((<usize>found) << 2), y * width + x);
        found++;
      }
    }
  }
  return found;
}
