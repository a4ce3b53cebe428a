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

/**
 * The same for many stars on 16-bit pixels without cutting stamps; twin: lightUnder after cutStamp. `rows` holds 12
 * numbers for each star: its place in the frame, the covariance xx, xy, yy, one that is not looked at, and the sky under each of the
 * four places of 2 x 2 pixels; `balance` the factors of these places. The first three numbers receive the sums; the
 * fourth is 1, or 0 where the weight leaves the frame: nothing is summed there.
 */
export function lightUnder16(
  pixels: usize,
  width: i32,
  height: i32,
  rows: usize,
  count: i32,
  balance: usize,
): void {
  const lanes = f32x4(0, 1, 2, 3);
  // exp(-9 / 2)
  const least = f32x4.splat(0.011108997);
  const far = f32x4.splat(130);
  const stride = (<usize>width) << 1;
  const none = f32x4.splat(0);
  const four = f32x4.splat(4);
  for (let i = 0; i < count; i++, rows += 96) {
    const x = load<f64>(rows);
    const y = load<f64>(rows, 8);
    const xx = load<f64>(rows, 16);
    const xy = load<f64>(rows, 24);
    const yy = load<f64>(rows, 32);
    const fromX = <i32>Math.ceil(x - 3 * Math.sqrt(xx));
    const toX = <i32>Math.floor(x + 3 * Math.sqrt(xx));
    const fromY = <i32>Math.ceil(y - 3 * Math.sqrt(yy));
    const toY = <i32>Math.floor(y + 3 * Math.sqrt(yy));
    const isInside = fromX >= 0 && fromY >= 0 && toX + 8 < width && toY < height && toX <= fromX + 128;
    store<f64>(rows, isInside ? 1 : 0, 24);
    if (!isInside) continue;
    const perDeterminant = 1 / (xx * yy - xy * xy);
    const inverseXX = f32x4.splat(<f32>(yy * perDeterminant));
    const inverseXY = -xy * perDeterminant;
    const inverseYY = xx * perDeterminant;
    let s1 = none;
    let s2 = none;
    let s3 = none;
    const last = f32x4.splat(<f32>(<f64>toX - x + 0.25));
    const evenSky = pattern(rows + 48, fromX);
    const oddSky = pattern(rows + 64, fromX);
    const evenFactor = pattern(balance, fromX);
    const oddFactor = pattern(balance + 16, fromX);
    const turn = expMinusHalf(f32x4.splat(<f32>(2 * inverseYY)));
    const cross2 = f32x4.splat(<f32>(2 * inverseXY));
    // As in moments.as.ts: the weight is worked out once for some rows, as many as single precision reaches over.
    const block = <i32>Math.min(24, Math.max(1, 8 / Math.sqrt(inverseYY)));
    for (let top = fromY; top <= toY; top += block) {
      const rowsHere = min(block, toY + 1 - top);
      const fromTop = <f64>top - y;
      const inY = f32x4.splat(<f32>(inverseYY * fromTop * fromTop));
      const cross = f32x4.splat(<f32>(2 * inverseXY * fromTop));
      const rise = f32x4.splat(<f32>(inverseYY * (2 * fromTop + 1)));
      const isEven = (top & 1) == 0;
      const firstRow = pixels + ((<usize>(top * width + fromX)) << 1);
      let dx = f32x4.add(f32x4.splat(<f32>(<f64>fromX - x)), lanes);
      for (let px = fromX; px <= toX; px += 4) {
        const q = f32x4.add(inY, f32x4.mul(dx, f32x4.add(cross, f32x4.mul(inverseXX, dx))));
        let weight = v128.and(v128.and(f32x4.lt(q, far), f32x4.le(dx, last)), expMinusHalf(q));
        let ratio = expMinusHalf(f32x4.add(rise, f32x4.mul(cross2, dx)));
        let sky = isEven ? evenSky : oddSky;
        let nextSky = isEven ? oddSky : evenSky;
        let factor = isEven ? evenFactor : oddFactor;
        let nextFactor = isEven ? oddFactor : evenFactor;
        let at = firstRow + ((<usize>(px - fromX)) << 1);
        for (let row = 0; row < rowsHere; row++) {
          const raw = f32x4.convert_i32x4_s(i32x4.extend_low_i16x8_u(v128.load64_zero(at)));
          const value = f32x4.mul(f32x4.sub(raw, sky), factor);
          const used = v128.and(f32x4.ge(weight, least), weight);
          const square = f32x4.mul(used, used);
          s1 = f32x4.add(s1, f32x4.mul(used, value));
          s2 = f32x4.add(s2, square);
          s3 = f32x4.add(s3, f32x4.mul(square, used));
          weight = f32x4.mul(weight, ratio);
          ratio = f32x4.mul(ratio, turn);
          const otherSky = sky;
          sky = nextSky;
          nextSky = otherSky;
          const otherFactor = factor;
          factor = nextFactor;
          nextFactor = otherFactor;
          at += stride;
        }
        dx = f32x4.add(dx, four);
      }
    }
    store<f64>(rows, sumOf(s1));
    store<f64>(rows, sumOf(s2), 8);
    store<f64>(rows, sumOf(s3), 16);
  }
}

/** Two numbers that take turns from column to column, beginning as column `from` does. */
@inline
function pattern(two: usize, from: i32): v128 {
  const first = <f32>load<f64>(two + ((<usize>(from & 1)) << 3));
  const second = <f32>load<f64>(two + ((<usize>(~from & 1)) << 3));
  return f32x4.replace_lane(f32x4.replace_lane(f32x4.splat(first), 1, second), 3, second);
}
