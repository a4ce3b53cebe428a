import { CallError } from "../terms/errors.js";

/** Events and trials of one stratum, and what share of the standard it gets. */
export interface RateStratum {
  readonly events: number;
  readonly trials: number;
  /** Any scale; the weights are divided by their sum. */
  readonly weight: number;
}

/** A rate before and after standardisation. */
export interface StandardisedRate {
  readonly crude: number;
  /** What the rate would be with the standard's mix of strata. */
  readonly standardised: number;
  readonly standardError: number;
  /** Share of the standard that has trials here; below 1 the standardised rate speaks for that share only. */
  readonly covered: number;
}

/**
 * Directly standardised rate: the mean of the strata's rates with the standard's weights (Freedman, Pisani & Purves,
 * Statistics, ch. 2: Berkeley's admissions). Strata without trials are left out, and counted in `covered`.
 * @throws CallError when no stratum has trials
 */
export function standardisedRate(strata: readonly RateStratum[]): StandardisedRate {
  let [events, trials, weights, all, sum, variance] = [0, 0, 0, 0, 0, 0];
  for (const s of strata) {
    all += s.weight;
    if (!(s.trials > 0)) continue;
    const rate = s.events / s.trials;
    events += s.events;
    trials += s.trials;
    weights += s.weight;
    sum += s.weight * rate;
    variance += (s.weight * s.weight * rate * (1 - rate)) / s.trials;
  }
  if (!(weights > 0)) throw new CallError("A standardised rate needs a stratum with trials and weight");
  return {
    crude: events / trials,
    standardised: sum / weights,
    standardError: Math.sqrt(variance) / weights,
    covered: weights / all,
  };
}
