import { CallError } from "../terms/errors.js";
import { gammaQuantile } from "./gamma.js";
import type { Interval } from "./proportion-intervals.js";

/**
 * The exact interval for the mean of a Poisson count (Garwood 1936, Biometrika 28, 437). Divide by the exposure for a
 * rate.
 * @param events - 0 or more
 * @throws CallError when the count is negative
 */
export function poissonInterval(events: number, level = 0.95): Interval {
  if (!(events >= 0)) throw new CallError(`A Poisson interval needs a count of 0 or more, not ${events}`);
  const tail = (1 - level) / 2;
  return { low: events === 0 ? 0 : gammaQuantile(tail, events), high: gammaQuantile(1 - tail, events + 1) };
}
