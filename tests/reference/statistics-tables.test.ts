// Counts and rates against published tables (R: read in a stored copy; C: computed with R 4.2.2 or statsmodels 0.13.5,
// named beside each; M: from memory, not asserted).
import { describe, expect, it } from "vitest";
import { betaBinomial, betaBinomialQuantile, clusteredPrediction } from "../../src/numbers/beta-binomial.js";
import { benjaminiHochberg, holm } from "../../src/numbers/false-discovery.js";
import { effectiveCount, intraClusterCorrelation } from "../../src/numbers/intra-cluster.js";
import { isotonicFit, staircaseAt } from "../../src/numbers/isotonic.js";
import { mantelHaenszel, type TwoByTwo } from "../../src/numbers/mantel-haenszel.js";
import { oddsHomogeneity, woolfHomogeneity } from "../../src/numbers/odds-homogeneity.js";
import { clopperPearsonInterval, jeffreysInterval, wilsonInterval } from "../../src/numbers/proportion-intervals.js";
import { brierScore, reliabilityTable } from "../../src/numbers/reliability.js";
import { standardisedRate } from "../../src/numbers/standardised-rate.js";
import { CallError } from "../../src/terms/errors.js";
import { dataset, furthest, hasDatasets, withoutDatasets } from "./statistics-data.js";

/** Berkeley's admissions, departments A to F: men admitted, rejected, women admitted, rejected (Bickel et al. 1975). */
const berkeley: TwoByTwo[] = [
  [512, 313, 89, 19],
  [353, 207, 17, 8],
  [120, 205, 202, 391],
  [138, 279, 131, 244],
  [53, 138, 94, 299],
  [22, 351, 24, 317],
];

describe("intervals of a proportion, 95 % (Newcombe 1998, Table I; C, R)", () => {
  const rows = [
    [81, 263, 0.255289, 0.36621, 0.252737, 0.367622],
    [15, 148, 0.062386, 0.160487, 0.057844, 0.16165],
    [0, 20, 0, 0.161125, 0, 0.168433],
    [1, 29, 0.006113, 0.171755, 0.000873, 0.177644],
  ] as const;
  it.each(rows)("%i of %i", (events, trials, wilsonLow, wilsonHigh, exactLow, exactHigh) => {
    const wilson = wilsonInterval(events, trials);
    const exact = clopperPearsonInterval(events, trials);
    for (const [value, expected] of [
      [wilson.low, wilsonLow],
      [wilson.high, wilsonHigh],
      [exact.low, exactLow],
      [exact.high, exactHigh],
    ])
      expect(Math.abs(value - expected)).toBeLessThan(6e-7);
    const jeffreys = jeffreysInterval(events, trials);
    expect(jeffreys.low).toBeGreaterThanOrEqual(exact.low);
    expect(jeffreys.high).toBeLessThan(exact.high);
    // Turned round, events and non-events give the mirrored interval.
    expect(wilsonInterval(trials - events, trials).low).toBeCloseTo(1 - wilson.high, 12);
  });
  it("refuses what is no proportion", () => {
    expect(() => wilsonInterval(3, 2)).toThrow(CallError);
    expect(() => clopperPearsonInterval(0, 0)).toThrow(CallError);
  });
});

describe("Cochran-Mantel-Haenszel", () => {
  it("Berkeley (Bickel et al. 1975, Science 187, 398; C, R and statsmodels)", () => {
    const m = mantelHaenszel(berkeley);
    expect(
      furthest(
        [
          m.oddsRatio,
          m.interval.low,
          m.interval.high,
          m.logStandardError,
          m.chiSquareCorrected,
          m.pCorrected,
          m.chiSquare,
        ],
        [0.904696828259, 0.771907361759, 1.060329764437, 0.0809889097, 1.426946228587, 0.232263462817, 1.52460666044],
      ),
    ).toBeLessThan(1e-9);
    const total = berkeley.reduce(([a, b, c, d], [e, f, g, h]) => [a + e, b + f, c + g, d + h] as const);
    // A single table has the plain odds ratio.
    const ratios = [total, ...berkeley].map((table) => mantelHaenszel([table]).oddsRatio);
    expect(furthest(ratios, [1.841080037181, 0.349212, 0.802501, 1.13306, 0.921284, 1.221631, 0.827873])).toBeLessThan(
      2e-6,
    );
    expect(ratios[0]).toBeCloseTo(1.841080037181, 11);
    const w = woolfHomogeneity(berkeley);
    const h = oddsHomogeneity(berkeley);
    expect(furthest([w.chiSquare, h.breslowDay, h.tarone], [17.9017124698, 18.8255137052, 18.8255012521])).toBeLessThan(
      1e-10,
    );
    expect(w.p).toBeCloseTo(0.0030721, 7);
    expect(h.p).toBeCloseTo(0.0020714, 7);
    expect(h.degreesOfFreedom).toBe(5);
  });
  it("directly standardised rates, Berkeley (Freedman, Pisani & Purves: 39 and 43 %; R and C)", () => {
    const of = (group: 0 | 2) =>
      standardisedRate(
        berkeley.map((t) => ({
          events: t[group],
          trials: t[group] + t[group + 1],
          weight: t[0] + t[1] + t[2] + t[3],
        })),
      );
    const [men, women] = [of(0), of(2)];
    const percent = [men.crude, women.crude, men.standardised, women.standardised].map((v) => 100 * v);
    console.log(`Berkeley, crude and standardised %: ${percent.map((v) => v.toFixed(4)).join(" ")}`);
    expect(furthest(percent, [44.5188, 30.3542, 38.7319, 42.9955])).toBeLessThan(2e-6);
    expect(men.covered).toBe(1);
  });
  it("rabbits (R, ?mantelhaen.test and statsmodels' Stratified1: 7, 3.9286, .04747)", () => {
    // R stores them column by column.
    const tables: TwoByTwo[] = [
      [0, 6, 0, 5],
      [3, 3, 0, 6],
      [6, 0, 2, 4],
      [5, 1, 6, 0],
      [2, 0, 5, 0],
    ];
    const m = mantelHaenszel(tables);
    expect(m.oddsRatio).toBeCloseTo(7, 12);
    expect(
      furthest(
        [m.chiSquareCorrected, m.pCorrected, m.interval.low, m.interval.high],
        [3.928571428571, 0.0474722551, 1.026712688, 47.72513338],
      ),
    ).toBeLessThan(2e-9);
    expect(m.informativeStrata).toBe(3);
  });
  it("five strata (statsmodels' Stratified2, values of DescTools; R)", () => {
    const tables: TwoByTwo[] = [
      [20, 14, 10, 24],
      [15, 12, 3, 15],
      [3, 2, 3, 2],
      [12, 3, 7, 5],
      [1, 0, 3, 2],
    ];
    const m = mantelHaenszel(tables);
    const h = oddsHomogeneity(tables);
    expect(m.oddsRatio).toBeCloseTo(3.5912, 4);
    // With the correction of one half: that is what statsmodels' test asks for.
    expect(m.chiSquareCorrected).toBeCloseTo(11.8852, 4);
    expect(m.pCorrected).toBeCloseTo(0.0005658, 7);
    expect(m.interval.low).toBeCloseTo(1.781135, 6);
    expect(m.interval.high).toBeCloseTo(7.240633, 6);
    expect(h.breslowDay).toBeCloseTo(1.8438, 4);
    expect(h.tarone).toBeCloseTo(1.8436, 4);
    expect(h.p).toBeCloseTo(0.7645, 4);
  });
  it.skipIf(!hasDatasets)(`smoking by race, birthwt (Hosmer & Lemeshow 1989; C, R)${withoutDatasets}`, () => {
    const { low, smoke, race } = dataset("birthwt");
    const table = (rows: (i: number) => boolean): TwoByTwo => {
      const count = (s: number, l: number) => low.filter((v, i) => rows(i) && v === l && smoke[i] === s).length;
      return [count(1, 1), count(1, 0), count(0, 1), count(0, 0)];
    };
    const [a, b, c, d] = table(() => true);
    // R's interval comes from the last weights but one, as for vaso: 2e-7 off the closed form.
    const crude = mantelHaenszel([[a, b, c, d]]);
    expect(
      furthest([crude.oddsRatio, crude.interval.low, crude.interval.high], [2.02194357, 1.08065987, 3.78311061]),
    ).toBeLessThan(1e-6);
    const m = mantelHaenszel([1, 2, 3].map((r) => table((i) => race[i] === r)));
    expect(
      furthest(
        [m.oddsRatio, m.interval.low, m.interval.high, m.chiSquareCorrected, m.pCorrected],
        [3.08638125, 1.49073956, 6.38994865, 8.3778897, 0.00379813],
      ),
    ).toBeLessThan(1e-6);
  });
  it("says nothing without an informative stratum", () => {
    expect(mantelHaenszel([[0, 5, 0, 7]]).oddsRatio).toBeNaN();
    expect(oddsHomogeneity([[1, 5, 2, 7]]).p).toBeNaN();
  });
});

describe("predicted counts", () => {
  it("beta-binomial: 42 of 50 kept, the next 100 (C, SciPy)", () => {
    const flat = betaBinomial(100, 43, 9);
    const jeffreys = betaBinomial(100, 42.5, 8.5);
    expect(
      furthest([flat.mean, flat.variance, jeffreys.mean, jeffreys.variance], [82.6923, 41.0461, 83.3333, 40.3312]),
    ).toBeLessThan(2e-6);
    expect([0.05, 0.5, 0.95].map((p) => betaBinomialQuantile(flat, p))).toEqual([71, 83, 92]);
    expect([0.05, 0.5, 0.95].map((p) => betaBinomialQuantile(jeffreys, p))).toEqual([72, 84, 93]);
    const atLeast80 = (d: { probability: Float64Array }) => d.probability.slice(80).reduce((a, b) => a + b, 0);
    expect(atLeast80(flat)).toBeCloseTo(0.710334, 6);
    expect(atLeast80(jeffreys)).toBeCloseTo(0.742938, 6);
  });
  it("clusters widen it, and no correlation leaves it", () => {
    const seen = { events: 42, trials: 50 };
    const alone = clusteredPrediction(seen, { trials: 100, clusters: 1, rho: 0 });
    expect(alone.variance).toBeCloseTo(40.3312, 4);
    expect(clusteredPrediction(seen, { trials: 100, clusters: 1, rho: 0.2 }).variance).toBeGreaterThan(200);
    // All or nothing a night, and nights that do not differ: by definition 1 and 0.
    expect(
      intraClusterCorrelation([
        { events: 9, trials: 9 },
        { events: 0, trials: 9 },
      ]),
    ).toBe(1);
    expect(
      intraClusterCorrelation([
        { events: 4, trials: 8 },
        { events: 4, trials: 8 },
      ]),
    ).toBe(0);
    expect(effectiveCount([seen, seen], 1)).toEqual({ events: 84 / 50, trials: 2 });
  });
});

describe("many tests, calibration and scores", () => {
  it("Benjamini & Hochberg and Holm, by hand from their definitions", () => {
    const p = [0.03, 0.005, 0.6, 0.012];
    // Ranked .005 .012 .03 .6: step-up p n / rank = .02 .024 .04 .6, already rising.
    expect(furthest(benjaminiHochberg(p), [0.04, 0.02, 0.6, 0.024])).toBeLessThan(1e-12);
    // A larger rank that is better pulls the smaller one down: .04 x 2 / 1 = .08 becomes .041.
    expect(furthest(benjaminiHochberg([0.04, 0.041]), [0.041, 0.041])).toBeLessThan(1e-12);
    expect(benjaminiHochberg([...p, Number.NaN])[4]).toBeNaN();
    // Step-down p (n - rank + 1) = .02 .036 .06 .6; never falling.
    expect(furthest(holm(p), [0.06, 0.02, 0.6, 0.036])).toBeLessThan(1e-12);
    expect(furthest(holm([0.04, 0.041, 0.9]), [0.12, 0.12, 0.9])).toBeLessThan(1e-12);
  });
  it("a staircase pools what falls, and is right by hand", () => {
    const s = isotonicFit([1, 2, 3, 4, 5], [1, 3, 2, 2, 5]);
    expect([...s.value]).toEqual([1, 7 / 3, 5]);
    expect([0, 1.5, 4.9, 9].map((x) => staircaseAt(s, x))).toEqual([1, 1, 7 / 3, 5]);
  });
  it("Brier's score and the reliability table, by hand", () => {
    const [p, y] = [
      [0.1, 0.1, 0.9, 0.9],
      [0, 1, 1, 1],
    ];
    expect(brierScore(p, y)).toBeCloseTo((0.01 + 0.81 + 0.01 + 0.01) / 4, 12);
    const rows = reliabilityTable(p, y);
    expect(rows.map((r) => [r.from, r.forecasts, r.observed])).toEqual([
      [0.1, 2, 0.5],
      [0.9, 2, 1],
    ]);
  });
});
