import { effectiveCount, intraClusterCorrelation } from "../numbers/intra-cluster.js";
import { quantileSorted } from "../numbers/quantiles.js";
import { type Random, randomStream } from "../numbers/random.js";
import { randomBeta, randomBinomial, randomGamma } from "../numbers/random-counts.js";
import { CallError } from "../terms/errors.js";

/** A night that was. */
export interface PastNight {
  readonly subs: number;
  readonly kept: number;
  /** Effective integration of the kept subs, s. */
  readonly effectiveS: number;
  /** Exposure of a sub, s. */
  readonly exposureS: number;
  /** What altitude and Moon should have made of the rate, relative to any constant; 1 when left out. */
  readonly conditions?: number;
}

/** A night to come. */
export interface FutureNight {
  /** Subs that fit into it. */
  readonly subs: number;
  readonly exposureS: number;
  /** As for past nights, on the same scale. */
  readonly conditions?: number;
  /** Chance that the night can be used at all, 0 to 1: the user's weather odds; 1 when left out. */
  readonly clearOdds?: number;
}

/** Lower, middle and upper value: 10, 50 and 90 of 100 outcomes lie below. */
export interface Outlook {
  readonly p10: number;
  readonly p50: number;
  readonly p90: number;
}

/** What to expect. */
export interface Forecast {
  readonly doneS: number;
  /** Effective integration in all after each of the nights to come, s. */
  readonly afterNight: readonly Outlook[];
  /**
   * Nights of the list until the goal is reached, counted from 1; 0: reached already; Infinity: not within the list.
   * `null` without a goal.
   */
  readonly nightsToGoal: Outlook | null;
  /** Chance of reaching the goal by the end of the list. */
  readonly goalOdds: number | null;
  /** Subs to take in all until then (kept or not), on nights that can be used; Infinity beyond the list. */
  readonly subsToGoal: Outlook | null;
  /** What the answer rests on. */
  readonly basis: {
    readonly nights: number;
    readonly keepRate: number;
    readonly intraNightCorrelation: number;
    /** Standard deviation of the natural logarithm of nights' rates at equal conditions. */
    readonly nightScatter: number;
    /** With fewer than three nights the night-to-night scatter is mostly the assumption, not the data. */
    readonly assumedScatter: boolean;
  };
}

export interface ForecastOptions {
  readonly goalS?: number;
  readonly seed?: number;
  /** 4000 when left out: quantiles to about 1 % of the spread. */
  readonly draws?: number;
}

/**
 * Assumed where nights are too few to tell: nights of one garden at equal altitude and Moon differ in rate by a fifth
 * (seeing, haze, town light), worth four nights of evidence; keeping or losing goes by nights with a correlation of 0.06,
 * the middle of 0.02 to 0.1, worth three. Choices of this project. On nights drawn that way, two nights told the sum of
 * five within 10-90 % in 82 of 100 cases; where nights differ by 30 to 50 %, in some 64 of 100 only.
 */
const assumed = { scatter: 0.2, scatterNights: 4, correlation: 0.06, correlationNights: 3 };

/**
 * What the nights to come will bring, by Monte Carlo: each draw takes a keep rate and a typical night's rate as the
 * past
 * allows them, then for each night its weather, its own keep rate (beta-binomial, so subs of a night share their
 * fate) and
 * its own rate (log-normal) times what altitude and Moon do.
 * @param past - nights so far, with at least one sub in all
 * @throws CallError when there is no past sub, or a number makes no sense
 * @example
 * ```ts
 * import { forecast } from "nightyield";
 * const past = [{ subs: 400, kept: 320, exposureS: 30, effectiveS: 8000 }];
 * const future = Array.from({ length: 30 }, () => ({ subs: 600, exposureS: 30, clearOdds: 0.4 }));
 * console.log(forecast(past, future, { goalS: 36000 }).nightsToGoal);
 * ```
 */
export function forecast(
  past: readonly PastNight[],
  future: readonly FutureNight[],
  { goalS, seed = 1, draws = 4000 }: ForecastOptions = {},
): Forecast {
  const used = past.filter(({ subs }) => subs > 0);
  if (used.length === 0) throw new CallError("A forecast needs at least one night with subs");
  for (const { subs, exposureS, clearOdds = 1 } of future)
    if (!(Number.isInteger(subs) && subs >= 0 && exposureS > 0 && clearOdds >= 0 && clearOdds <= 1))
      throw new CallError(
        `A coming night has whole subs, an exposure and odds within 0 to 1, not ${subs}, ${exposureS} and ${clearOdds}`,
      );
  const keep = keepBelief(used);
  const rate = rateBelief(used);
  const doneS = used.reduce((sum, night) => sum + night.effectiveS, 0);
  const random = randomStream(seed, "forecast");
  const totals = future.map(() => new Float64Array(draws));
  const nights = new Float64Array(draws);
  const subs = new Float64Array(draws);
  for (let draw = 0; draw < draws; draw++) {
    const meanKeep = randomBeta(random, keep.a, keep.b);
    const { mean, scatter } = rateDraw(random, rate);
    let total = doneS;
    let taken = 0;
    let reachedAt = goalS !== undefined && total >= goalS ? 0 : Number.POSITIVE_INFINITY;
    let subsAt = reachedAt;
    future.forEach((night, i) => {
      const before = total;
      if (random.uniform() < (night.clearOdds ?? 1)) {
        const p = nightlyRate(random, meanKeep, keep.correlation);
        const kept = randomBinomial(random, night.subs, p);
        const quality = Math.exp(mean + scatter * random.normal()) * (night.conditions ?? 1);
        total += kept * night.exposureS * quality;
        if (total >= (goalS ?? Number.POSITIVE_INFINITY) && reachedAt === Number.POSITIVE_INFINITY) {
          reachedAt = i + 1;
          subsAt = taken + Math.ceil((night.subs * (goalS! - before)) / (total - before));
        }
        taken += night.subs;
      }
      totals[i][draw] = total;
    });
    nights[draw] = reachedAt;
    subs[draw] = subsAt;
  }
  const reached = nights.reduce((sum, n) => sum + (Number.isFinite(n) ? 1 : 0), 0);
  return {
    doneS,
    afterNight: totals.map(outlookOf),
    nightsToGoal: goalS === undefined ? null : outlookOf(nights),
    goalOdds: goalS === undefined ? null : reached / draws,
    subsToGoal: goalS === undefined ? null : outlookOf(subs),
    basis: {
      nights: used.length,
      keepRate: keep.a / (keep.a + keep.b),
      intraNightCorrelation: keep.correlation,
      nightScatter: Math.sqrt(rate.scatter2),
      assumedScatter: used.length < 3,
    },
  };
}

/**
 * Beta belief about the mean keep rate (Jeffreys' prior, counts divided by the design effect), and how nights
 * cluster.
 */
function keepBelief(past: readonly PastNight[]): { a: number; b: number; correlation: number } {
  const clusters = past.map(({ kept, subs }) => ({ events: kept, trials: subs }));
  const measured = intraClusterCorrelation(clusters);
  const { correlation: guess, correlationNights } = assumed;
  const correlation = Number.isNaN(measured)
    ? guess
    : (measured * past.length + guess * correlationNights) / (past.length + correlationNights);
  const { events, trials } = effectiveCount(clusters, correlation);
  return { a: events + 0.5, b: trials - events + 0.5, correlation: Math.min(0.95, correlation) };
}

interface RateBelief {
  readonly mean: number;
  readonly nights: number;
  readonly scatter2: number;
  readonly degrees: number;
}

/** Normal and scaled inverse chi-squared belief about the logarithm of a night's rate per kept second. */
function rateBelief(past: readonly PastNight[]): RateBelief {
  const logs = past
    .filter(({ kept, effectiveS }) => kept > 0 && effectiveS > 0)
    .map(({ kept, effectiveS, exposureS, conditions = 1 }) => Math.log(effectiveS / (kept * exposureS * conditions)));
  const n = logs.length;
  if (n === 0) throw new CallError("A forecast needs at least one kept sub with an effective exposure");
  const mean = logs.reduce((sum, v) => sum + v, 0) / n;
  const squares = logs.reduce((sum, v) => sum + (v - mean) ** 2, 0);
  const degrees = assumed.scatterNights + n - 1;
  return { mean, nights: n, degrees, scatter2: (assumed.scatterNights * assumed.scatter ** 2 + squares) / degrees };
}

function rateDraw(random: Random, belief: RateBelief): { mean: number; scatter: number } {
  // Chi-squared with v degrees is twice a gamma number of shape v / 2.
  const scatter = Math.sqrt((belief.degrees * belief.scatter2) / (2 * randomGamma(random, belief.degrees / 2)));
  return { mean: belief.mean + (scatter / Math.sqrt(belief.nights)) * random.normal(), scatter };
}

function nightlyRate(random: Random, mean: number, correlation: number): number {
  if (!(correlation > 0) || mean <= 0 || mean >= 1) return mean;
  const size = 1 / correlation - 1;
  return randomBeta(random, mean * size, (1 - mean) * size);
}

function outlookOf(values: Float64Array): Outlook {
  const sorted = Float64Array.from(values).sort();
  const at = (p: number) => {
    const low = sorted[Math.floor(p * (sorted.length - 1))];
    return Number.isFinite(low) ? quantileOr(sorted, p) : low;
  };
  return { p10: at(0.1), p50: at(0.5), p90: at(0.9) };
}

/** Interpolation next to an infinite value would be NaN. */
function quantileOr(sorted: Float64Array, p: number): number {
  const value = quantileSorted(sorted, p);
  return Number.isNaN(value) ? Number.POSITIVE_INFINITY : value;
}
