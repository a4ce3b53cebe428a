import { CallError } from "../terms/errors.js";
import { logBeta } from "./beta.js";
import { logGamma } from "./gamma.js";

/** How many of the next trials will be events. */
export interface BetaBinomial {
  readonly trials: number;
  readonly a: number;
  readonly b: number;
  readonly mean: number;
  readonly variance: number;
  /** Probability of each count, 0 to `trials`. */
  readonly probability: Float64Array;
}

/**
 * The beta-binomial distribution of a count whose chance follows a beta distribution.
 * @param trials - whole, 0 or more
 * @param a - prior events + events seen (prior 1/2 after Jeffreys, 1 flat)
 * @param b - prior non-events + non-events seen
 * @throws CallError when the trials are not whole or a or b is not positive
 */
export function betaBinomial(trials: number, a: number, b: number): BetaBinomial {
  if (!(Number.isInteger(trials) && trials >= 0 && a > 0 && b > 0))
    throw new CallError(`A beta-binomial count needs whole trials and positive a and b, not ${trials}, ${a} and ${b}`);
  const front = logGamma(trials + 1) - logBeta(a, b);
  const probability = Float64Array.from({ length: trials + 1 }, (_, k) =>
    Math.exp(front - logGamma(k + 1) - logGamma(trials - k + 1) + logBeta(k + a, trials - k + b)),
  );
  const mean = (trials * a) / (a + b);
  return { trials, a, b, mean, variance: (mean * b * (a + b + trials)) / ((a + b) * (a + b + 1)), probability };
}

/** The smallest count reached with probability p or more. */
export function betaBinomialQuantile({ probability, trials }: BetaBinomial, p: number): number {
  let sum = 0;
  for (let k = 0; k < trials; k++) {
    sum += probability[k];
    // Rounding in the sum must not push a count past a p that it meets exactly.
    if (sum >= p - 1e-12) return k;
  }
  return trials;
}

/**
 * The next clusters' count when events come in clusters: the chance of each future cluster scatters about the mean with
 * variance rho m (1 - m), on top of what is not known of the mean. The beta distribution with the same mean and variance
 * stands for it, so the answer is approximate for few clusters.
 * @param seen - independent trials' worth of what was seen (`effectiveCount`)
 * @param trials - whole number of trials to come, over `clusters` clusters of equal size
 * @param rho - intra-cluster correlation, 0 to below 1
 */
export function clusteredPrediction(
  seen: { readonly events: number; readonly trials: number },
  { trials, clusters, rho }: { readonly trials: number; readonly clusters: number; readonly rho: number },
  prior = 0.5,
): BetaBinomial {
  if (!(clusters >= 1 && rho >= 0 && rho < 1))
    throw new CallError(`A clustered prediction needs a cluster and rho within 0 to 1, not ${clusters} and ${rho}`);
  const a = seen.events + prior;
  const b = seen.trials - seen.events + prior;
  const mean = a / (a + b);
  const spread = mean * (1 - mean);
  const unknown = 1 / (a + b + 1) + (rho / clusters) * (1 - 1 / (a + b + 1));
  const size = spread > 0 ? 1 / unknown - 1 : a + b;
  return betaBinomial(trials, mean * size, (1 - mean) * size);
}
