// A star's light.
import { expMinusHalf, sumOf } from "./lanes.as";

/** Light under one Gaussian for all stars; twin: lightUnder in starlight.ts. `out` receives three sums. */
export function lightUnder(
  stamp: usize,
  radius: i32,
  x: f64,
  y: f64,
  inverseXX: f64,
  inverseXY: f64,
  inverseYY: f64,
  out: usize,
): void {
  const side = 2 * radius + 1;
  const lanes = f32x4(0, 1, 2, 3);
  const reach = f32x4.splat(9);
  const a = f32x4.splat(<f32>inverseXX);
  const last = f32x4.splat(<f32>(<f64>radius - x + 0.25));
  let s1 = f32x4.splat(0);
  let s2 = s1;
  let s3 = s1;
  for (let py = -radius; py <= radius; py++) {
    const dy = <f64>py - y;
    const inY = f32x4.splat(<f32>(inverseYY * dy * dy));
    const cross = f32x4.splat(<f32>(2 * inverseXY * dy));
    let at = stamp + ((<usize>((py + radius) * side)) << 2);
    let dx = f32x4.add(f32x4.splat(<f32>(<f64>-radius - x)), lanes);
    for (let px = -radius; px <= radius; px += 4) {
      const q = f32x4.add(inY, f32x4.mul(dx, f32x4.add(cross, f32x4.mul(a, dx))));
      const value = v128.load(at);
      const inside = v128.and(v128.and(f32x4.le(q, reach), f32x4.le(dx, last)), f32x4.eq(value, value));
      if (v128.any_true(inside)) {
        const weight = v128.and(inside, expMinusHalf(q));
        const square = f32x4.mul(weight, weight);
        s1 = f32x4.add(s1, v128.and(inside, f32x4.mul(weight, value)));
        s2 = f32x4.add(s2, square);
        s3 = f32x4.add(s3, f32x4.mul(square, weight));
      }
      at += 16;
      dx = f32x4.add(dx, f32x4.splat(4));
    }
  }
  store<f64>(out, sumOf(s1));
  store<f64>(out, sumOf(s2), 8);
  store<f64>(out, sumOf(s3), 16);
}
