// The hot loops in AssemblyScript with SIMD; `npm run build` compiles this file and embeds it (build.mjs). Each function
// has its plain TypeScript twin, named beside it, which is the reference and takes over where SIMD is not there.
// Addresses are bytes in the memory shared with TypeScript; memory is laid out in buffers-memory.ts. No allocation here.

/** Sums over 2 x 2 of 16-bit pixels for pairs of rows; twin: sumBlocks16. `width` is even. */
export function sumRows16(pixels: usize, width: i32, pairsOfRows: i32, sums: usize): void {
  const rowBytes: usize = (<usize>width) << 1;
  const whole = width & ~7;
  for (let pair = 0; pair < pairsOfRows; pair++) {
    for (let x = 0; x < whole; x += 8) {
      const upper = v128.load(pixels);
      const lower = v128.load(pixels + rowBytes);
      const sum = i32x4.add(i32x4.extadd_pairwise_i16x8_u(upper), i32x4.extadd_pairwise_i16x8_u(lower));
      v128.store(sums, f32x4.convert_i32x4_u(sum));
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
  let first = 4095;
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
  first = 1;
  while (first < 4095 && load<u32>(histogram + ((<usize>first) << 2)) == 0) first++;
  return first;
}

@inline
function count1(histogram: usize, bin: i32): void {
  const at = histogram + ((<usize>bin) << 2);
  store<u32>(at, load<u32>(at) + 1);
}

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

/** exp(-q/2) for q from 0 to some 80, good to 1e-7: 2^x as a whole power times a polynomial in the rest. */
@inline
function expMinusHalf(q: v128): v128 {
  return exp2(f32x4.mul(q, f32x4.splat(-0.72134752)));
}

@inline
function exp2(x: v128): v128 {
  // Adding 1.5 * 2^23 rounds to a whole number and leaves it in the low bits, from where it goes to the exponent.
  const shifted = f32x4.add(x, f32x4.splat(12582912));
  const f = f32x4.sub(x, f32x4.sub(shifted, f32x4.splat(12582912)));
  let p = f32x4.add(f32x4.splat(0.00967546), f32x4.mul(f, f32x4.splat(0.0013267)));
  p = f32x4.add(f32x4.splat(0.05550743), f32x4.mul(f, p));
  p = f32x4.add(f32x4.splat(0.24022122), f32x4.mul(f, p));
  p = f32x4.add(f32x4.splat(0.69314695), f32x4.mul(f, p));
  p = f32x4.add(f32x4.splat(1.00000007), f32x4.mul(f, p));
  return i32x4.add(p, i32x4.shl(shifted, 23));
}

/** log2 of positive values, absolute error about 1e-7. */
@inline
function log2(u: v128): v128 {
  // Mantissa between sqrt(1/2) and sqrt(2): the exponent is read from the bits of u / sqrt(1/2).
  const bits = i32x4.sub(u, i32x4.splat(0x3f3504f3));
  const exponent = i32x4.shr_s(bits, 23);
  const t = f32x4.sub(i32x4.sub(u, i32x4.shl(exponent, 23)), f32x4.splat(1));
  let p = f32x4.add(f32x4.splat(-0.20570561), f32x4.mul(t, f32x4.splat(0.12280528)));
  p = f32x4.add(f32x4.splat(0.21611913), f32x4.mul(t, p));
  p = f32x4.add(f32x4.splat(-0.23919491), f32x4.mul(t, p));
  p = f32x4.add(f32x4.splat(0.28790175), f32x4.mul(t, p));
  p = f32x4.add(f32x4.splat(-0.36069211), f32x4.mul(t, p));
  p = f32x4.add(f32x4.splat(0.48091077), f32x4.mul(t, p));
  p = f32x4.add(f32x4.splat(-0.72134748), f32x4.mul(t, p));
  p = f32x4.add(f32x4.splat(1.442695), f32x4.mul(t, p));
  return f32x4.add(f32x4.convert_i32x4_s(exponent), f32x4.mul(t, p));
}

@inline
function sumOf(v: v128): f64 {
  return (
    <f64>f32x4.extract_lane(v, 0) +
    <f64>f32x4.extract_lane(v, 1) +
    <f64>f32x4.extract_lane(v, 2) +
    <f64>f32x4.extract_lane(v, 3)
  );
}

// The sums that weigh() leaves behind.
let light: f64 = 0;
let meanX: f64 = 0;
let meanY: f64 = 0;
let meanXX: f64 = 0;
let meanXY: f64 = 0;
let meanYY: f64 = 0;

/** Sums light and moments under an elliptical Gaussian weight; twin: weigh in moments.ts. */
function weigh(stamp: usize, radius: i32, x: f64, y: f64, xx: f64, xy: f64, yy: f64): bool {
  const determinant = xx * yy - xy * xy;
  if (!(determinant > 0)) return false;
  const inverseXX = f32x4.splat(<f32>(yy / determinant));
  const inverseXY = -xy / determinant;
  const inverseYY = xx / determinant;
  const reachX = Math.sqrt(10.5 * xx);
  const reachY = Math.sqrt(10.5 * yy);
  const fromX = max(-radius, <i32>Math.ceil(x - reachX));
  const toX = min(radius, <i32>Math.floor(x + reachX));
  const fromY = max(-radius, <i32>Math.ceil(y - reachY));
  const toY = min(radius, <i32>Math.floor(y + reachY));
  const side = 2 * radius + 1;
  const lanes = f32x4(0, 1, 2, 3);
  const reach = f32x4.splat(10.5);
  const four = f32x4.splat(4);
  const last = f32x4.splat(<f32>(<f64>toX - x + 0.25));
  let s0 = f32x4.splat(0);
  let sx = s0;
  let sy = s0;
  let sxx = s0;
  let sxy = s0;
  let syy = s0;
  for (let py = fromY; py <= toY; py++) {
    const dy = <f64>py - y;
    const inY = f32x4.splat(<f32>(inverseYY * dy * dy));
    const cross = f32x4.splat(<f32>(2 * inverseXY * dy));
    let at = stamp + ((<usize>((py + radius) * side + radius + fromX)) << 2);
    let dx = f32x4.add(f32x4.splat(<f32>(<f64>fromX - x)), lanes);
    let r0 = f32x4.splat(0);
    let r1 = r0;
    let r2 = r0;
    for (let px = fromX; px <= toX; px += 4) {
      const q = f32x4.add(inY, f32x4.mul(dx, f32x4.add(cross, f32x4.mul(inverseXX, dx))));
      const value = v128.load(at);
      const inside = v128.and(v128.and(f32x4.lt(q, reach), f32x4.le(dx, last)), f32x4.eq(value, value));
      const weighted = v128.and(inside, f32x4.mul(value, expMinusHalf(q)));
      const byX = f32x4.mul(weighted, dx);
      r0 = f32x4.add(r0, weighted);
      r1 = f32x4.add(r1, byX);
      r2 = f32x4.add(r2, f32x4.mul(byX, dx));
      at += 16;
      dx = f32x4.add(dx, four);
    }
    const dyLanes = f32x4.splat(<f32>dy);
    const byY = f32x4.mul(r0, dyLanes);
    s0 = f32x4.add(s0, r0);
    sx = f32x4.add(sx, r1);
    sxx = f32x4.add(sxx, r2);
    sy = f32x4.add(sy, byY);
    syy = f32x4.add(syy, f32x4.mul(byY, dyLanes));
    sxy = f32x4.add(sxy, f32x4.mul(r1, dyLanes));
  }
  light = sumOf(s0);
  if (!(light > 0)) return false;
  meanX = sumOf(sx) / light;
  meanY = sumOf(sy) / light;
  meanXX = sumOf(sxx) / light - meanX * meanX;
  meanXY = sumOf(sxy) / light - meanX * meanY;
  meanYY = sumOf(syy) / light - meanY * meanY;
  return meanXX > 0 && meanYY > 0 && meanXX * meanYY - meanXY * meanXY > 1e-4;
}

let starXX: f64 = 0;
let starXY: f64 = 0;
let starYY: f64 = 0;

/** The star's own covariance; twin: unweigh in moments.ts. */
function unweigh(weightXX: f64, weightXY: f64, weightYY: f64): bool {
  const determinant = weightXX * weightYY - weightXY * weightXY;
  const spread = meanXX * meanYY - meanXY * meanXY;
  const a = meanYY / spread - weightYY / determinant;
  const b = -meanXY / spread + weightXY / determinant;
  const c = meanXX / spread - weightXX / determinant;
  const d = a * c - b * b;
  if (!(d > 1e-6 && a > 0 && c > 0)) return false;
  starXX = c / d;
  starXY = -b / d;
  starYY = a / d;
  return true;
}

@inline
function limited(next: f64, now: f64): f64 {
  return Math.max(now / 4, Math.min(4 * now, next));
}

function leave(out: usize, x: f64, y: f64, xx: f64, xy: f64, yy: f64): void {
  store<f64>(out, x);
  store<f64>(out, y, 8);
  store<f64>(out, xx, 16);
  store<f64>(out, xy, 24);
  store<f64>(out, yy, 32);
  store<f64>(out, light * Math.sqrt((xx * yy - xy * xy) / (meanXX * meanYY - meanXY * meanXY)), 40);
}

/** Adaptive moments; twin: adaptiveMoments, which explains the steps. `out` receives x, y, xx, xy, yy, flux. */
export function adaptive(
  stamp: usize,
  radius: i32,
  startX: f64,
  startY: f64,
  startXX: f64,
  startXY: f64,
  startYY: f64,
  drift: f64,
  settled: f64,
  out: usize,
): bool {
  const most = <f64>(radius * radius);
  let x = startX;
  let y = startY;
  let xx = startXX;
  let xy = startXY;
  let yy = startYY;
  for (let round = 0; round < 24; round++) {
    const halfDifference = (xx - yy) / 2;
    const widen = Math.max(0, 1 - (xx + yy) / 2 + Math.sqrt(halfDifference * halfDifference + xy * xy));
    const weightXX = xx + widen;
    const weightYY = yy + widen;
    if (!weigh(stamp, radius, x, y, weightXX, xy, weightYY)) return false;
    x += (1 + xx / weightXX) * meanX;
    y += (1 + yy / weightYY) * meanY;
    if (Math.abs(x - startX) > drift || Math.abs(y - startY) > drift) return false;
    const known = unweigh(weightXX, xy, weightYY);
    const nextXX = Math.max(1.0 / 12, limited(known ? starXX : 2 * meanXX, xx));
    const nextYY = Math.max(1.0 / 12, limited(known ? starYY : 2 * meanYY, yy));
    const limit = 0.99 * Math.sqrt(nextXX * nextYY);
    const nextXY = Math.max(-limit, Math.min(limit, known ? starXY : 2 * meanXY));
    const change = Math.abs(nextXX - xx) + Math.abs(nextXY - xy) + Math.abs(nextYY - yy);
    xx = nextXX;
    xy = nextXY;
    yy = nextYY;
    if (xx > most || yy > most) return false;
    if (change < settled * (xx + yy) && Math.abs(meanX) + Math.abs(meanY) < settled) {
      leave(out, x, y, xx, xy, yy);
      return true;
    }
  }
  return false;
}

/** Moments under a round weight that only moves; twin: fixedMoments. 2: shape, 1: place only, 0: nothing. */
export function fixed(
  stamp: usize,
  radius: i32,
  startX: f64,
  startY: f64,
  weight: f64,
  drift: f64,
  out: usize,
): i32 {
  let x = startX;
  let y = startY;
  for (let round = 0; round < 12; round++) {
    if (!weigh(stamp, radius, x, y, weight, 0, weight)) return 0;
    x += 1.7 * meanX;
    y += 1.7 * meanY;
    if (Math.abs(x - startX) > drift || Math.abs(y - startY) > drift) return 0;
    if (Math.abs(meanX) + Math.abs(meanY) < 0.01) break;
  }
  store<f64>(out, x);
  store<f64>(out, y, 8);
  const most = 16 * weight;
  if (!unweigh(weight, 0, weight) || !(starXX < most && starYY < most)) return 1;
  if (starXX < 1.0 / 12 || starYY < 1.0 / 12) return 1;
  leave(out, x, y, starXX, starXY, starYY);
  return 2;
}

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

/** Weights of the pixels under a Moffat profile; twin: fillWeights. */
export function moffatWeights(p: usize, radius: i32, skyVariance: f64, perValue: f64, weights: usize): void {
  const x0 = load<f64>(p, 16);
  const y0 = load<f64>(p, 24);
  const perBeta = load<f64>(p, 56);
  const a = f32x4.splat(<f32>(load<f64>(p, 32) * perBeta));
  const b = load<f64>(p, 40) * perBeta;
  const c = load<f64>(p, 48) * perBeta;
  const minusBeta = f32x4.splat(<f32>(-1 / perBeta));
  const light = f32x4.splat(<f32>(perValue * load<f64>(p)));
  const sky = f32x4.splat(<f32>skyVariance);
  const one = f32x4.splat(1);
  const side = 2 * radius + 1;
  const lanes = f32x4(0, 1, 2, 3);
  for (let y = 0; y < side; y++) {
    const dy = <f64>(y - radius) - y0;
    const inY = f32x4.splat(<f32>(1 + c * dy * dy));
    const cross = f32x4.splat(<f32>(2 * b * dy));
    for (let x = 0; x < side; x += 4) {
      const dx = f32x4.add(f32x4.splat(<f32>(<f64>(x - radius) - x0)), lanes);
      const u = f32x4.add(inY, f32x4.mul(dx, f32x4.add(cross, f32x4.mul(a, dx))));
      const profile = exp2(f32x4.max(f32x4.splat(-80), f32x4.mul(minusBeta, log2(u))));
      v128.store(
        weights + ((<usize>(y * side + x)) << 2),
        f32x4.div(one, f32x4.add(sky, f32x4.mul(light, profile))),
      );
    }
  }
}

/**
 * Compares a pixel-integrated Moffat profile with a stamp; twin: compareMoffat, which explains it. `into` receives the
 * lower triangle of the 8 x 8 matrix (row after row of 8), the right side, chi-square. `rows` is scratch for 45 vectors.
 */
export function compareMoffat(
  p: usize,
  stamp: usize,
  stampRadius: i32,
  radius: i32,
  weights: usize,
  fineLimit: f64,
  into: usize,
  rows: usize,
): bool {
  const peak = load<f64>(p);
  const sky = f32x4.splat(<f32>load<f64>(p, 8));
  const x0 = load<f64>(p, 16);
  const y0 = load<f64>(p, 24);
  const perBeta = load<f64>(p, 56);
  const beta = 1 / perBeta;
  const a = load<f64>(p, 32) * perBeta;
  const b = load<f64>(p, 40) * perBeta;
  const c = load<f64>(p, 48) * perBeta;
  const a4 = f32x4.splat(<f32>a);
  const b4 = f32x4.splat(<f32>b);
  const c4 = f32x4.splat(<f32>c);
  const beta4 = f32x4.splat(<f32>beta);
  const minusBeta = f32x4.splat(<f32>-beta);
  const peak4 = f32x4.splat(<f32>peak);
  const perBeta4 = f32x4.splat(<f32>perBeta);
  const trace = f32x4.splat(<f32>(2 * (a + c)));
  const fourBeta1 = f32x4.splat(<f32>(4 * (beta + 1)));
  const one = f32x4.splat(1);
  const ln2 = f32x4.splat(0.69314718);
  const per24 = f32x4.splat(<f32>(1.0 / 24));
  const side = 2 * stampRadius + 1;
  const limit = f32x4.splat(<f32>((<f64>radius + 0.3) * (<f64>radius + 0.3)));
  const last = f32x4.splat(<f32>radius + 0.25);
  const fine = f32x4.splat(<f32>fineLimit);
  const quarter = f32x4.splat(0.25);
  const lanes = f32x4(0, 1, 2, 3);
  const none = f32x4.splat(0);
  memory.fill(rows, 0, 45 << 4);
  for (let py = -radius; py <= radius; py++) {
    const py2 = f32x4.splat(<f32>(py * py));
    for (let px = -radius; px <= radius; px += 4) {
      const pixelX = f32x4.add(f32x4.splat(<f32>px), lanes);
      const distance2 = f32x4.add(f32x4.mul(pixelX, pixelX), py2);
      const at = (<usize>((py + stampRadius) * side + px + stampRadius)) << 2;
      const value = v128.load(stamp + at);
      const inside = v128.and(v128.and(f32x4.le(distance2, limit), f32x4.le(pixelX, last)), f32x4.eq(value, value));
      if (!v128.any_true(inside)) continue;
      const isFine = v128.and(inside, f32x4.lt(distance2, fine));
      const points = v128.any_true(isFine) ? 5 : 1;
      let model = none;
      let slopeX = none;
      let slopeY = none;
      let slopeA = none;
      let slopeB = none;
      let slopeC = none;
      let slopePerBeta = none;
      // Point 0 is the middle of the pixel, for lanes that are not fine; points 1 to 4 are Gauss-Legendre points.
      for (let point = 0; point < points; point++) {
        const offsetX: f64 = point == 0 ? 0 : (point & 1) == 0 ? 0.28867513459481287 : -0.28867513459481287;
        const offsetY: f64 = point == 0 ? 0 : point > 2 ? 0.28867513459481287 : -0.28867513459481287;
        const dx = f32x4.add(pixelX, f32x4.splat(<f32>(offsetX - x0)));
        const dy = f32x4.splat(<f32>(<f64>py + offsetY - y0));
        const halfX = f32x4.add(f32x4.mul(a4, dx), f32x4.mul(b4, dy));
        const halfY = f32x4.add(f32x4.mul(b4, dx), f32x4.mul(c4, dy));
        const u = f32x4.add(one, f32x4.add(f32x4.mul(halfX, dx), f32x4.mul(halfY, dy)));
        if (v128.any_true(v128.and(inside, f32x4.le(u, none)))) return false;
        const log2u = log2(u);
        const share = point == 0 ? v128.andnot(one, isFine) : v128.and(quarter, isFine);
        const shape = f32x4.mul(share, exp2(f32x4.max(f32x4.splat(-80), f32x4.mul(minusBeta, log2u))));
        const overU = f32x4.div(one, u);
        const perU = f32x4.mul(f32x4.mul(minusBeta, peak4), f32x4.mul(shape, overU));
        model = f32x4.add(model, shape);
        if (point == 0) {
          const squares = f32x4.add(f32x4.mul(halfX, halfX), f32x4.mul(halfY, halfY));
          const laplacian = f32x4.mul(
            f32x4.mul(beta4, f32x4.mul(shape, f32x4.mul(overU, overU))),
            f32x4.sub(f32x4.mul(fourBeta1, squares), f32x4.mul(u, trace)),
          );
          model = f32x4.add(model, f32x4.mul(laplacian, per24));
        }
        const twice = f32x4.add(perU, perU);
        const byBeta = f32x4.mul(perU, perBeta4);
        slopeX = f32x4.sub(slopeX, f32x4.mul(twice, halfX));
        slopeY = f32x4.sub(slopeY, f32x4.mul(twice, halfY));
        slopeA = f32x4.add(slopeA, f32x4.mul(byBeta, f32x4.mul(dx, dx)));
        slopeB = f32x4.add(slopeB, f32x4.mul(f32x4.add(byBeta, byBeta), f32x4.mul(dx, dy)));
        slopeC = f32x4.add(slopeC, f32x4.mul(byBeta, f32x4.mul(dy, dy)));
        slopePerBeta = f32x4.add(
          slopePerBeta,
          f32x4.mul(
            f32x4.mul(f32x4.mul(peak4, shape), f32x4.mul(beta4, beta4)),
            f32x4.sub(f32x4.mul(ln2, log2u), f32x4.mul(f32x4.sub(u, one), overU)),
          ),
        );
      }
      const weight = v128.and(inside, v128.load(weights + at));
      const residual = v128.and(inside, f32x4.sub(f32x4.sub(value, sky), f32x4.mul(peak4, model)));
      const w0 = f32x4.mul(weight, model);
      const wX = f32x4.mul(weight, slopeX);
      const wY = f32x4.mul(weight, slopeY);
      const wA = f32x4.mul(weight, slopeA);
      const wB = f32x4.mul(weight, slopeB);
      const wC = f32x4.mul(weight, slopeC);
      const wP = f32x4.mul(weight, slopePerBeta);
      add(rows, 0, w0, model);
      add(rows, 1, weight, model);
      add(rows, 2, weight, one);
      add(rows, 3, wX, model);
      add(rows, 4, weight, slopeX);
      add(rows, 5, wX, slopeX);
      add(rows, 6, wY, model);
      add(rows, 7, weight, slopeY);
      add(rows, 8, wY, slopeX);
      add(rows, 9, wY, slopeY);
      add(rows, 10, wA, model);
      add(rows, 11, weight, slopeA);
      add(rows, 12, wA, slopeX);
      add(rows, 13, wA, slopeY);
      add(rows, 14, wA, slopeA);
      add(rows, 15, wB, model);
      add(rows, 16, weight, slopeB);
      add(rows, 17, wB, slopeX);
      add(rows, 18, wB, slopeY);
      add(rows, 19, wB, slopeA);
      add(rows, 20, wB, slopeB);
      add(rows, 21, wC, model);
      add(rows, 22, weight, slopeC);
      add(rows, 23, wC, slopeX);
      add(rows, 24, wC, slopeY);
      add(rows, 25, wC, slopeA);
      add(rows, 26, wC, slopeB);
      add(rows, 27, wC, slopeC);
      add(rows, 28, wP, model);
      add(rows, 29, weight, slopePerBeta);
      add(rows, 30, wP, slopeX);
      add(rows, 31, wP, slopeY);
      add(rows, 32, wP, slopeA);
      add(rows, 33, wP, slopeB);
      add(rows, 34, wP, slopeC);
      add(rows, 35, wP, slopePerBeta);
      const weighted = f32x4.mul(weight, residual);
      add(rows, 36, weighted, model);
      add(rows, 37, weighted, one);
      add(rows, 38, weighted, slopeX);
      add(rows, 39, weighted, slopeY);
      add(rows, 40, weighted, slopeA);
      add(rows, 41, weighted, slopeB);
      add(rows, 42, weighted, slopeC);
      add(rows, 43, weighted, slopePerBeta);
      add(rows, 44, weighted, residual);
    }
  }
  let k = 0;
  for (let i = 0; i < 8; i++)
    for (let j = 0; j <= i; j++) {
      store<f64>(into + ((<usize>(i * 8 + j)) << 3), sumOf(v128.load(rows + ((<usize>k) << 4))));
      k++;
    }
  for (let i = 0; i < 9; i++)
    store<f64>(into + ((<usize>(64 + i)) << 3), sumOf(v128.load(rows + ((<usize>(36 + i)) << 4))));
  return true;
}

@inline
function add(rows: usize, k: usize, x: v128, y: v128): void {
  v128.store(rows + (k << 4), f32x4.add(v128.load(rows + (k << 4)), f32x4.mul(x, y)));
}
