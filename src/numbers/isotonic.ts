import { CallError } from "../terms/errors.js";

/** A rising staircase: the value at `x[i]` and above, up to the next. */
export interface Staircase {
  readonly x: Float64Array;
  readonly value: Float64Array;
}

/**
 * The rising staircase closest to the points in least squares, by pooling neighbours that fall (Ayer et al. 1955; Barlow
 * et al. 1972). Turns scores into calibrated probabilities when `y` is 0 or 1.
 * @param x - finite; points with the same x are pooled first
 * @param weights - positive; 1 when left out
 * @throws CallError when there are no points
 */
export function isotonicFit(x: ArrayLike<number>, y: ArrayLike<number>, weights?: ArrayLike<number>): Staircase {
  if (x.length === 0) throw new CallError("A staircase needs at least one point");
  const order = Array.from({ length: x.length }, (_, i) => i).sort((a, b) => x[a] - x[b]);
  const steps: { x: number; sum: number; weight: number }[] = [];
  for (const i of order) {
    const weight = weights === undefined ? 1 : weights[i];
    const last = steps.at(-1);
    if (last !== undefined && last.x === x[i]) {
      last.sum += weight * y[i];
      last.weight += weight;
    } else steps.push({ x: x[i], sum: weight * y[i], weight });
  }
  const pooled: { x: number; sum: number; weight: number }[] = [];
  for (const step of steps) {
    let top = step;
    for (let below = pooled.at(-1); below !== undefined; below = pooled.at(-1)) {
      if (below.sum * top.weight < top.sum * below.weight) break;
      pooled.pop();
      top = { x: below.x, sum: below.sum + top.sum, weight: below.weight + top.weight };
    }
    pooled.push(top);
  }
  return { x: Float64Array.from(pooled, (p) => p.x), value: Float64Array.from(pooled, (p) => p.sum / p.weight) };
}

/** The staircase's value; below its first step, the first value. */
export function staircaseAt({ x, value }: Staircase, at: number): number {
  let [low, high] = [0, x.length - 1];
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (x[middle] <= at) low = middle;
    else high = middle - 1;
  }
  return value[low];
}
