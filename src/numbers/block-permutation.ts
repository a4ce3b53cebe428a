import { CallError } from "../terms/errors.js";
import { arrangementP } from "./arrangements.js";
import type { Random } from "./random.js";
import { correlation } from "./rank.js";

/** A correlation with a p-value that respects autocorrelation. */
export interface BlockTest {
  readonly r: number;
  readonly p: number;
  readonly blockLength: number;
}

/**
 * Tests a correlation by shuffling blocks of y: within a block the order, and so the autocorrelation, stays.
 * @param blockLength - at least the correlation time; the cube root of the number of rows when left out (Kuensch 1989)
 * @throws CallError when fewer than five blocks fit
 */
export function blockPermutationTest(
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  random: Random,
  { blockLength = Math.ceil(Math.cbrt(y.length)), shuffles = 999 } = {},
): BlockTest {
  const n = y.length;
  const blocks = Math.ceil(n / blockLength);
  if (blocks < 5) throw new CallError(`Shuffling needs five blocks; ${n} rows give ${blocks} of ${blockLength}`);
  const order = Array.from({ length: blocks }, (_, i) => i);
  const shuffled = new Float64Array(n);
  const r = correlation(x, y);
  const statistics = [r];
  for (let s = 0; s < shuffles; s++) {
    for (let i = blocks - 1; i > 0; i--) {
      const j = Math.floor(random.uniform() * (i + 1));
      [order[i], order[j]] = [order[j], order[i]];
    }
    let to = 0;
    for (const block of order)
      for (let i = block * blockLength; i < Math.min(n, (block + 1) * blockLength); i++) shuffled[to++] = y[i];
    statistics.push(correlation(x, shuffled));
  }
  return { r, p: arrangementP(statistics), blockLength };
}
