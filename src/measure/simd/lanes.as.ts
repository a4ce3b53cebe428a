// Functions of four single-precision numbers at once.

/** exp(-q/2) for q from 0 to some 80, good to 1e-7: 2^x as a whole power times a polynomial in the rest. */
@inline
export function expMinusHalf(q: v128): v128 {
  return exp2(f32x4.mul(q, f32x4.splat(-0.72134752)));
}

@inline
export function exp2(x: v128): v128 {
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
export function log2(u: v128): v128 {
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
export function sumOf(v: v128): f64 {
  return (
    <f64>f32x4.extract_lane(v, 0) +
    <f64>f32x4.extract_lane(v, 1) +
    <f64>f32x4.extract_lane(v, 2) +
    <f64>f32x4.extract_lane(v, 3)
  );
}

/** Sums over the lanes of four vectors. */
@inline
export function sumsOf(a: v128, b: v128, c: v128, d: v128): v128 {
  const ab = f32x4.add(v128.shuffle<f32>(a, b, 0, 4, 1, 5), v128.shuffle<f32>(a, b, 2, 6, 3, 7));
  const cd = f32x4.add(v128.shuffle<f32>(c, d, 0, 4, 1, 5), v128.shuffle<f32>(c, d, 2, 6, 3, 7));
  return f32x4.add(v128.shuffle<f32>(ab, cd, 0, 1, 4, 5), v128.shuffle<f32>(ab, cd, 2, 3, 6, 7));
}
