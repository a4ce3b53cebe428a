import { mantelHaenszel, type TwoByTwo } from "./mantel-haenszel.js";
import { chiSquareTail } from "./tails.js";

/** Whether one odds ratio fits all strata. A small p: it does not, and the strata are to be shown one by one. */
export interface OddsHomogeneity {
  readonly breslowDay: number;
  /** Breslow & Day's statistic with Tarone's correction (1985, Biometrika 72, 91). */
  readonly tarone: number;
  readonly degreesOfFreedom: number;
  /** Of Tarone's statistic. */
  readonly p: number;
}

/**
 * The test of Breslow & Day (1980, Statistical Methods in Cancer Research 1, eq. 4.30) with Tarone's correction.
 * @returns NaN when fewer than two strata are informative or the common odds ratio is 0 or infinite
 */
export function oddsHomogeneity(strata: readonly TwoByTwo[]): OddsHomogeneity {
  const informative = strata.filter(([a, b, c, d]) => (a + b) * (c + d) * (a + c) * (b + d) > 0);
  const ratio = mantelHaenszel(strata).oddsRatio;
  let [breslowDay, excess, variances] = [0, 0, 0];
  for (const [a, b, c, d] of informative) {
    const expected = expectedUnder(ratio, a + b, c + d, a + c);
    const rest = c + d - (a + c) + expected;
    const variance = 1 / (1 / expected + 1 / (a + b - expected) + 1 / (a + c - expected) + 1 / rest);
    breslowDay += (a - expected) ** 2 / variance;
    excess += a - expected;
    variances += variance;
  }
  const degreesOfFreedom = informative.length - 1;
  const usable = degreesOfFreedom >= 1 && ratio > 0 && Number.isFinite(ratio);
  const tarone = usable ? breslowDay - excess ** 2 / variances : Number.NaN;
  return {
    breslowDay: usable ? breslowDay : Number.NaN,
    tarone,
    degreesOfFreedom,
    p: usable ? chiSquareTail(tarone, degreesOfFreedom) : Number.NaN,
  };
}

/** Woolf's test (1955, Ann. Hum. Genet. 19, 251), for tables without an empty cell. */
export function woolfHomogeneity(strata: readonly TwoByTwo[]): {
  chiSquare: number;
  degreesOfFreedom: number;
  p: number;
} {
  let [w, wx, wxx] = [0, 0, 0];
  for (const [a, b, c, d] of strata) {
    const weight = 1 / (1 / a + 1 / b + 1 / c + 1 / d);
    const x = Math.log((a * d) / (b * c));
    w += weight;
    wx += weight * x;
    wxx += weight * x * x;
  }
  const chiSquare = wxx - wx ** 2 / w;
  const degreesOfFreedom = strata.length - 1;
  return { chiSquare, degreesOfFreedom, p: chiSquareTail(chiSquare, degreesOfFreedom) };
}

/** The count of exposed events that gives the odds ratio with these margins: the root inside the margins' range. */
function expectedUnder(ratio: number, exposed: number, others: number, events: number): number {
  const b = others - events + ratio * (exposed + events);
  const c = ratio * exposed * events;
  // (1 - ratio) x^2 + b x - c = 0, in the form that does not cancel and holds for a ratio of 1.
  return (2 * c) / (b + Math.sqrt(b * b + 4 * (1 - ratio) * c));
}
