// Regressions and correlations against NIST's StRD and R (C: computed with R 4.2.2, brglm2 0.9, car 3.1.1; the vaso, O-ring
// and endometrial values by a second program as well).
import { mean, sampleStandardDeviation } from "simple-statistics";
import { describe, expect, it } from "vitest";
import { autocorrelation, effectiveNumberForMean } from "../../src/numbers/autocorrelation.js";
import { varianceInflation } from "../../src/numbers/collinearity.js";
import { leastSquares } from "../../src/numbers/least-squares.js";
import { interceptCorrected, logisticRegression } from "../../src/numbers/logistic.js";
import { profileCoefficient } from "../../src/numbers/logistic-profile.js";
import { partialCorrelation, partialSpearman } from "../../src/numbers/partial-correlation.js";
import { CallError } from "../../src/terms/errors.js";
import { dataset, furthest, hasDatasets, withoutDatasets } from "./statistics-data.js";

describe.skipIf(!hasDatasets)(`NIST StRD${withoutDatasets}`, () => {
  it.each([
    ["lew", -177.435, 277.332168044316, -0.307304800605679, 1e-12],
    ["mavro", 2.001856, 0.000429123454003053, 0.937989183438248, 1e-10],
    ["michelson", 299.8524, 0.0790105478190518, 0.535199668621283, 1e-10],
  ])("%s (univariate; R): mean and spread by simple-statistics, autocorrelation ours", (name, m, s, r, tolerance) => {
    const values = dataset<number[]>(`nist_${name}`);
    expect(furthest([mean(values), sampleStandardDeviation(values), autocorrelation(values)], [m, s, r])).toBeLessThan(
      tolerance,
    );
  });
  it("NumAcc1 to 4 (univariate; R)", () => {
    const accuracy = (c: number) => [c, ...Array.from({ length: 1000 }, (_, i) => c + (i % 2 ? 0.1 : -0.1))];
    const three = [10000001, 10000003, 10000002];
    expect([mean(three), sampleStandardDeviation(three), autocorrelation(three)]).toEqual([10000002, 1, -0.5]);
    for (const [c, tolerance] of [
      [1.2, 1e-14],
      [1000000.2, 1e-9],
      [10000000.2, 1e-7],
    ] as const) {
      expect(Math.abs(sampleStandardDeviation(accuracy(c)) - 0.1)).toBeLessThan(tolerance);
      expect(Math.abs(autocorrelation(accuracy(c)) + 0.999)).toBeLessThan(tolerance);
    }
  });
  it("Norris (linear least squares; R and C)", () => {
    const { x, y } = dataset("nist_norris");
    const fit = leastSquares([x], y);
    const off = furthest(
      [...fit.coefficients, ...fit.standardErrors, fit.rSquared, fit.sigma ** 2, fit.f],
      [
        -0.262323073774029, 1.00211681802045, 0.232818234301152, 0.429796848199937e-3, 0.999993745883712,
        0.78286466263007, 5436385.54079785,
      ],
    );
    console.log(`Norris: furthest from the certified values ${off.toExponential(1)}`);
    expect(off).toBeLessThan(1e-11);
  });
  it("Longley: regression, inflation and partial correlation (Longley 1967; C, R's lm; NIST's certificate was not at hand)", () => {
    const { Employed, ...rest } = dataset("longley");
    const columns = Object.values(rest);
    const fit = leastSquares(columns, Employed);
    const off = furthest(
      [...fit.coefficients, fit.sigma, fit.rSquared],
      [
        -3482.25863459581, 0.015061872271373, -0.0358191792926, -0.0202022980382, -0.0103322686717, -0.0511041056536,
        1.82915146461, 0.304854073561966, 0.995479004577296,
      ],
    );
    console.log(`Longley: furthest ${off.toExponential(1)}`);
    expect(off).toBeLessThan(1e-9);
    expect(
      furthest(
        varianceInflation(columns),
        [135.53243828, 1788.51348271808, 33.618890597, 3.588930193, 399.151022312, 758.980597407],
      ),
    ).toBeLessThan(1e-6);
    const without = (name: string) => Object.entries(rest).flatMap(([n, c]) => (n === name ? [] : [c]));
    expect(partialCorrelation(Employed, rest.GNP, without("GNP")).r).toBeCloseTo(-0.335803857853, 9);
    expect(partialCorrelation(Employed, rest.Year, without("Year")).r).toBeCloseTo(0.801139716237, 9);
  });
  it("trees: correlation, partial and on ranks (R's datasets; C)", () => {
    const { Volume, Height, Girth } = dataset("trees");
    expect(partialCorrelation(Volume, Height, []).r).toBeCloseTo(0.598249651992, 11);
    expect(partialCorrelation(Volume, Height, [Girth]).r).toBeCloseTo(0.441894996242, 11);
    expect(partialSpearman(Volume, Height, [Girth]).r).toBeCloseTo(0.591027880309, 11);
  });
  it("lh: autocorrelation, and what 48 values are worth (R's datasets; C)", () => {
    const r = autocorrelation(dataset("lh").lh);
    expect(r).toBeCloseTo(0.575524475524, 11);
    expect(effectiveNumberForMean(48, r)).toBeCloseTo(12.9320905, 6);
  });
});

it("a polynomial of the fifth degree on 0 to 20 whose coefficients are 1 by construction (algebra)", () => {
  const x = Array.from({ length: 21 }, (_, i) => i);
  const powers = [1, 2, 3, 4, 5].map((k) => x.map((v) => v ** k));
  const y = x.map((v) => 1 + v + v ** 2 + v ** 3 + v ** 4 + v ** 5);
  expect(furthest(leastSquares(powers, y).coefficients, [1, 1, 1, 1, 1, 1])).toBeLessThan(1e-7);
  expect(() => leastSquares([x, x.map((v) => 3 * v - 1)], y)).toThrow(CallError);
  // An exact combination is named without spoiling the column beside it, which is uncorrelated with both.
  const [one, two, free] = varianceInflation([x, x.map((v) => 3 * v - 1), x.map((v) => (v - 10) ** 2)]);
  expect([one, two]).toEqual([Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY]);
  expect(free).toBeCloseTo(1, 9);
});

describe.skipIf(!hasDatasets)(`logistic regression${withoutDatasets}`, () => {
  it("vaso, plain and Firth (Finney 1947, Biometrika 34, 320; C)", () => {
    const { Volume, Rate, Y } = dataset("vaso");
    const data = { columns: [Volume.map(Math.log), Rate.map(Math.log)], events: Y };
    const plain = logisticRegression(data, { penalty: "none" });
    expect(
      furthest(
        [...plain.coefficients, ...plain.standardErrors, plain.logLikelihood],
        [-2.87542171, 5.17932402, 4.56167528, 1.32079327, 1.86484961, 1.83799102, -14.6136876404],
      ),
    ).toBeLessThan(1e-6);
    // R's standard errors come from the last weights but one: 1e-6, as check-values.md asks, not 1e-8.
    expect(-2 * plain.logLikelihood).toBeCloseTo(29.2273752807, 9);
    const none = logisticRegression({ columns: [], events: Y }, { penalty: "none" });
    expect(-2 * none.logLikelihood).toBeCloseTo(54.0398362476, 9);
    const firth = logisticRegression(data);
    expect(
      furthest(
        [...firth.coefficients, ...firth.standardErrors],
        [-2.24545486, 4.14462758, 3.63062744, 1.08108138, 1.48759972, 1.49906368],
      ),
    ).toBeLessThan(1e-8);
  });
  it("O-rings by flight and by ring (Dalal, Fowlkes & Hoadley 1989, JASA 84, 945; C)", () => {
    const { tempF, pressure } = dataset("orings");
    // Failures of six rings in the order of flights, as in check-values.md, appendix A.
    const failures = [0, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1, 0, 0, 2, 0, 0, 0, 0, 0, 0, 2, 1, 0];
    const any = failures.map((f) => Math.min(1, f));
    const flights = logisticRegression({ columns: [tempF], events: any }, { penalty: "none" });
    expect(
      furthest(
        [...flights.coefficients, ...flights.standardErrors],
        [15.0429016477, -0.2321627442, 7.3786363849, 0.1082365216],
      ),
    ).toBeLessThan(1e-8);
    // Deviance: -2 log-likelihood, as flights are single.
    const none = logisticRegression({ columns: [], events: any }, { penalty: "none" });
    expect(-2 * flights.logLikelihood).toBeCloseTo(20.3151926879, 9);
    expect(-2 * none.logLikelihood).toBeCloseTo(28.2671527343, 9);
    const [a, b] = flights.coefficients;
    expect(1 / (1 + Math.exp(-(a + 31 * b)))).toBeCloseTo(0.9996087829, 9);
    const firth = logisticRegression({ columns: [tempF], events: any });
    expect(
      furthest(
        [...firth.coefficients, ...firth.standardErrors],
        [11.949515133, -0.186041915524, 6.25543867, 0.09158226],
      ),
    ).toBeLessThan(1e-7);
    const six = { events: failures, trials: failures.map(() => 6) };
    const rings = logisticRegression({ ...six, columns: [tempF] }, { penalty: "none" });
    expect(
      furthest(
        [...rings.coefficients, ...rings.standardErrors],
        [5.084977233, -0.1156011667, 3.0524855598, 0.0470238459],
      ),
    ).toBeLessThan(1e-8);
    const both = logisticRegression({ ...six, columns: [tempF, pressure] }, { penalty: "none" });
    // Deviance: what the fitted rates leave of the likelihood of the observed ones, k / 6.
    const deviance = ({ fitted }: { fitted: Float64Array }) =>
      failures.reduce((sum, k, i) => {
        const part = (count: number, rate: number) => (count === 0 ? 0 : 2 * count * Math.log(count / 6 / rate));
        return sum + part(k, fitted[i]) + part(6 - k, 1 - fitted[i]);
      }, 0);
    const alone = logisticRegression({ ...six, columns: [] }, { penalty: "none" });
    expect(furthest([rings, alone, both].map(deviance), [18.0863267425, 24.230361815, 16.5651002794])).toBeLessThan(
      1e-9,
    );
    const [c, d] = rings.coefficients;
    expect(1 / (1 + Math.exp(-(c + 31 * d)))).toBeCloseTo(0.8177744062, 9);
    expect(furthest(both.coefficients, [3.4097275462, -0.1077471672, 0.0073795895])).toBeLessThan(1e-7);
  });
  it("birthwt, plain and Firth (Hosmer & Lemeshow 1989; C)", () => {
    const { low, age, lwt, race, smoke, ptl, ht, ui, ftv } = dataset("birthwt");
    const [black, other] = [race.map((r) => Number(r === 2)), race.map((r) => Number(r === 3))];
    const data = { events: low, columns: [age, lwt, black, other, smoke, ptl, ht, ui, ftv] };
    const plain = logisticRegression(data, { penalty: "none" });
    expect(
      furthest(
        plain.coefficients,
        [
          0.4806232091, -0.0295490271, -0.015424284, 1.2722597978, 0.8804959258, 0.9388457016, 0.5433370311,
          1.8633028704, 0.7676481458, 0.0653018348,
        ],
      ),
    ).toBeLessThan(1e-7);
    expect(
      furthest(
        plain.standardErrors,
        [1.1969041, 0.0370314, 0.0069194, 0.5273637, 0.4407857, 0.4021541, 0.3454054, 0.6975401, 0.4593215, 0.1723958],
      ),
    ).toBeLessThan(1e-5);
    expect(plain.logLikelihood).toBeCloseTo(-100.6423975279, 9);
    expect(
      furthest(
        logisticRegression(data).coefficients,
        [
          0.3364892885, -0.0278257691, -0.0138629173, 1.2121480203, 0.8416170149, 0.8958336424, 0.503393032,
          1.7293523963, 0.742868754, 0.074265074,
        ],
      ),
    ).toBeLessThan(1e-7);
    const small = { events: low, columns: [age, lwt, black, other, ftv] };
    const few = logisticRegression(small, { penalty: "none" });
    expect(
      furthest(
        few.coefficients,
        [1.2953657488, -0.0238229738, -0.0142446112, 1.0038978235, 0.4331084281, -0.0493083177],
      ),
    ).toBeLessThan(1e-7);
    expect(few.logLikelihood).toBeCloseTo(-111.2864532033, 9);
  });
  it("endometrial: Firth with profile intervals (Heinze & Schemper 2002, Stat. Med. 21, 2409; C)", () => {
    const { NV, PI, EH, HG } = dataset("endometrial");
    const data = { columns: [NV, PI, EH], events: HG };
    const fit = logisticRegression(data);
    expect(
      furthest(
        [...fit.coefficients, ...fit.standardErrors, fit.logLikelihood],
        [
          3.7745597136, 2.9292733532, -0.0347517599, -2.6041639253, 1.4886916634, 1.5507637295, 0.0395781473,
          0.7760176425, -24.0372678007,
        ],
      ),
    ).toBeLessThan(1e-8);
    const profiles = [0, 1, 2, 3].map((i) => profileCoefficient(data, fit, i));
    console.log(
      `endometrial, NV: ${profiles[1].interval.low.toFixed(6)} to ${profiles[1].interval.high.toFixed(6)}, chi2 ${profiles[1].chiSquare.toFixed(6)}`,
    );
    expect(
      furthest(
        profiles.flatMap(({ interval }) => [interval.low, interval.high]),
        [1.08253711, 7.2092805, 0.60972444, 7.8546317, -0.12445872, 0.04045547, -4.36518324, -1.23272106],
      ),
    ).toBeLessThan(2e-7);
    expect(
      furthest([profiles[1].chiSquare, profiles[1].p, profiles[3].chiSquare], [6.79845725, 0.00912367, 17.75931758]),
    ).toBeLessThan(5e-7);
    // Without the penalty NV has no finite estimate: the interval is open above.
    const plain = logisticRegression(data, { penalty: "none" });
    expect(plain.coefficients[1]).toBeGreaterThan(10);
    const corrected = interceptCorrected(data, fit);
    const sum = (v: ArrayLike<number>) => Array.from(v).reduce((a, b) => a + b, 0);
    expect(sum(corrected.fitted)).toBeCloseTo(sum(HG), 8);
    expect([...corrected.coefficients.slice(1)]).toEqual([...fit.coefficients.slice(1)]);
  });
});

describe("Firth's estimate in closed form and separated", () => {
  it("two by two: one half is added to each cell (algebra)", () => {
    const data = { columns: [[0, 1]], events: [5, 10], trials: [10, 10] };
    const row = (x: number, y: number, times: number) => Array.from({ length: times }, () => [x, y]);
    const rows = [...row(0, 1, 5), ...row(0, 0, 5), ...row(1, 1, 10)];
    const expanded = { columns: [rows.map(([x]) => x)], events: rows.map(([, y]) => y) };
    for (const d of [data, expanded]) {
      const fit = logisticRegression(d);
      expect(fit.coefficients[0]).toBeCloseTo(0, 9);
      expect(fit.coefficients[1]).toBeCloseTo(3.04452243772, 9);
    }
  });
  it("1 to 6 split in the middle (C, two programs)", () => {
    const fit = logisticRegression({ columns: [[1, 2, 3, 4, 5, 6]], events: [0, 0, 0, 1, 1, 1] });
    expect(
      furthest([...fit.coefficients, ...fit.standardErrors], [-3.95119370997, 1.12891248856, 3.18702529, 0.85490834]),
    ).toBeLessThan(1e-8);
  });
});
