import { CallError } from "../terms/errors.js";

/**
 * A root of a continuous function between two ends of opposite sign (Ridders 1979, IEEE Trans. Circuits Syst. 26, 979).
 * @param tolerance - absolute, on the root
 * @throws CallError when both ends have the same sign, or one is not a number
 */
export function findRoot(f: (x: number) => number, low: number, high: number, tolerance = 1e-12): number {
  let [a, b, fa, fb] = [low, high, f(low), f(high)];
  if (fa === 0) return a;
  if (fb === 0) return b;
  if (!(Math.sign(fa) * Math.sign(fb) < 0)) throw new CallError(`No change of sign between ${low} and ${high}`);
  let last = Number.NaN;
  for (let i = 0; i < 200; i++) {
    const middle = (a + b) / 2;
    const fm = f(middle);
    if (fm === 0) return middle;
    // x = m + (m - a) sign(fa - fb) fm / sqrt(fm^2 - fa fb), divided through by |fm| against under- and overflow.
    const step = ((middle - a) * Math.sign(fa - fb) * Math.sign(fm)) / Math.sqrt(1 - (fa / fm) * (fb / fm));
    const x = middle + step;
    const fx = f(x);
    if (fx === 0 || Math.abs(x - last) <= tolerance) return x;
    last = x;
    if (Math.sign(fm) !== Math.sign(fx)) [a, fa, b, fb] = [middle, fm, x, fx];
    else if (Math.sign(fa) !== Math.sign(fx)) [b, fb] = [x, fx];
    else [a, fa] = [x, fx];
    if (Math.abs(b - a) <= tolerance) return (a + b) / 2;
  }
  return last;
}
