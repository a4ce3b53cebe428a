// Elementary functions that give the same bits everywhere. ECMAScript leaves the last bits of Math.sin, Math.exp,
// Math.log and Math.pow to the engine; + - * / and Math.sqrt are exact by IEEE 754, so what is built from them alone is
// the same on every platform (the constants of Math are fixed by the standard too). Where a number has to be reproduced bit for bit (simulated pixels), use these.

const ln2High = 0.6931471803691238; // upper bits of ln 2: n * ln2High is exact for |n| < 2^20
const ln2Low = 1.9082149292705877e-10;
const halfPi = Math.PI / 2;
const halfPiHigh = 1.5707963267341256; // upper 33 bits of pi / 2
const halfPiLow = 6.077100506506192e-11;

/**
 * e^x by x = n ln 2 + r and the Taylor series of e^r to r^13.
 * @returns 0 below -745, Infinity above 709.7; relative error below 4e-16
 */
export function steadyExp(x: number): number {
  if (Number.isNaN(x)) return x;
  if (x > 709.7) return Number.POSITIVE_INFINITY;
  if (x < -745) return 0;
  const n = Math.floor(x / Math.LN2 + 0.5);
  const r = x - n * ln2High - n * ln2Low;
  let sum = 1;
  for (let k = 13; k > 0; k--) sum = 1 + (sum * r) / k;
  return sum * powerOfTwo(n);
}

/**
 * The natural logarithm by x = 2^n m, m near 1, and ln m = 2 artanh((m - 1) / (m + 1)) as a series.
 * @param x - a normal positive number
 * @returns NaN below 0, -Infinity at 0; relative error below 1e-15
 */
export function steadyLog(x: number): number {
  if (!(x > 0)) return x === 0 ? Number.NEGATIVE_INFINITY : Number.NaN;
  if (x === Number.POSITIVE_INFINITY) return x;
  let m = x;
  let n = 0;
  // Multiplying by powers of two is exact.
  for (; m >= 65536; n += 16) m /= 65536;
  for (; m >= Math.SQRT2; n++) m /= 2;
  for (; m < 1 / 65536; n -= 16) m *= 65536;
  for (; m < Math.SQRT1_2; n--) m *= 2;
  const z = (m - 1) / (m + 1);
  const q = z * z;
  let sum = 1 / 21;
  for (let k = 19; k > 0; k -= 2) sum = 1 / k + q * sum;
  return n * ln2High + (n * ln2Low + 2 * z * sum);
}

/** base^exponent as exp(exponent ln base), for a positive base; relative error 1e-15 times the exponent's size. */
export const steadyPow = (base: number, exponent: number): number => steadyExp(exponent * steadyLog(base));

/** 10^x. */
export const steadyPow10 = (x: number): number => steadyExp(x * Math.LN10);

/** The sine of an angle in radians, |x| below 1e5; absolute error below 2e-16 near zero, 1e-11 at the far end. */
export function steadySin(x: number): number {
  const n = Math.floor(x / halfPi + 0.5);
  const r = x - n * halfPiHigh - n * halfPiLow;
  switch (((n % 4) + 4) % 4) {
    case 0:
      return sinSeries(r);
    case 1:
      return cosSeries(r);
    case 2:
      return -sinSeries(r);
    default:
      return -cosSeries(r);
  }
}

/** The cosine of an angle in radians; see {@link steadySin}. */
export const steadyCos = (x: number): number => steadySin(x + halfPi);

/** The same of an angle in degrees. */
export const steadySinDeg = (deg: number): number => steadySin(((deg % 360) * Math.PI) / 180);
export const steadyCosDeg = (deg: number): number => steadyCos(((deg % 360) * Math.PI) / 180);

/**
 * The direction of a vector from +x towards +y, -180 to 180 degrees, by Newton steps on sine and cosine.
 * @returns 0 for the zero vector; absolute error below 1e-12 degrees
 */
export function steadyAngleDeg(y: number, x: number): number {
  const length = Math.sqrt(x * x + y * y);
  if (length === 0) return 0;
  const [c, s] = [x / length, y / length];
  // First guess from a rational form of the arc tangent in the first octant, then sin(angle - guess) = s cos - c sin.
  const [small, large] = [Math.min(Math.abs(c), Math.abs(s)), Math.max(Math.abs(c), Math.abs(s))];
  const ratio = small / large;
  let angle = ratio / (1 + 0.28125 * ratio * ratio);
  if (Math.abs(s) > Math.abs(c)) angle = halfPi - angle;
  if (c < 0) angle = Math.PI - angle;
  if (s < 0) angle = -angle;
  for (let step = 0; step < 3; step++) angle += s * steadyCos(angle) - c * steadySin(angle);
  return (angle * 180) / Math.PI;
}

/**
 * Rounds to a grid of 10^-decimals. What comes from functions whose last bit is the engine's own (the sky's angles)
 * passes through here before it reaches a pixel: an error of 1e-13 then changes the result only when the value lies
 * within 1e-13 of a rounding edge, once in 10^(12 - decimals) values.
 */
export function settle(x: number, decimals: number): number {
  let scale = 1;
  for (let i = 0; i < decimals; i++) scale *= 10;
  return Math.round(x * scale) / scale;
}

function sinSeries(r: number): number {
  const q = r * r;
  let sum = 1;
  for (let k = 16; k > 0; k -= 2) sum = 1 - (sum * q) / (k * (k + 1));
  return r * sum;
}

function cosSeries(r: number): number {
  const q = r * r;
  let sum = 1;
  for (let k = 17; k > 0; k -= 2) sum = 1 - (sum * q) / (k * (k + 1));
  return sum;
}

function powerOfTwo(n: number): number {
  let result = 1;
  let left = Math.abs(n);
  const step = n < 0 ? 0.5 : 2;
  for (; left >= 16; left -= 16) result *= n < 0 ? 1 / 65536 : 65536;
  for (; left > 0; left--) result *= step;
  return result;
}
