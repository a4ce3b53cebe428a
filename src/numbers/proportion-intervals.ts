import { CallError } from "../terms/errors.js";
import { betaQuantile } from "./beta.js";
import { normalQuantile } from "./tails.js";

/** Two ends of an interval. */
export interface Interval {
  readonly low: number;
  readonly high: number;
}

/**
 * Wilson's score interval for a proportion (Wilson 1927, J. Am. Stat. Assoc. 22, 209; Newcombe 1998, Stat. Med. 17, 857,
 * method 3). Never outside 0 to 1, sensible for 0 of n.
 * @param level - 0.95 for a 95 % interval
 * @throws CallError when the counts make no proportion
 */
export function wilsonInterval(events: number, trials: number, level = 0.95): Interval {
  check(events, trials, level);
  const z = normalQuantile(0.5 + level / 2);
  const p = events / trials;
  const middle = 2 * events + z * z;
  const half = z * Math.sqrt(z * z + 4 * events * (1 - p));
  const whole = 2 * (trials + z * z);
  return {
    low: events === 0 ? 0 : Math.max(0, (middle - half) / whole),
    high: events === trials ? 1 : Math.min(1, (middle + half) / whole),
  };
}

/** The exact interval of Clopper & Pearson (1934, Biometrika 26, 404): never covers less than its level, often more. */
export function clopperPearsonInterval(events: number, trials: number, level = 0.95): Interval {
  check(events, trials, level);
  const tail = (1 - level) / 2;
  return {
    low: events === 0 ? 0 : betaQuantile(tail, events, trials - events + 1),
    high: events === trials ? 1 : betaQuantile(1 - tail, events + 1, trials - events),
  };
}

/** The equal-tailed interval under Jeffreys' prior, with the ends closed at 0 and n (Brown, Cai & DasGupta 2001). */
export function jeffreysInterval(events: number, trials: number, level = 0.95): Interval {
  check(events, trials, level);
  const tail = (1 - level) / 2;
  return {
    low: events === 0 ? 0 : betaQuantile(tail, events + 0.5, trials - events + 0.5),
    high: events === trials ? 1 : betaQuantile(1 - tail, events + 0.5, trials - events + 0.5),
  };
}

function check(events: number, trials: number, level: number): void {
  if (!(trials > 0 && events >= 0 && events <= trials))
    throw new CallError(`A proportion needs 0 to n events of n trials, not ${events} of ${trials}`);
  if (!(level > 0 && level < 1)) throw new CallError(`A level lies between 0 and 1; ${level} does not`);
}
