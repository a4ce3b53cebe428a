// Statistics against check-values.md section 6 (computed there with R 4.2.2 and SciPy; sources named in its rows).
import { expect, it } from "vitest";
import { normalCumulative } from "../../src/numbers/normal.js";
import { median, quantile } from "../../src/numbers/quantiles.js";
import { spearman } from "../../src/numbers/rank.js";
import { madToSigma, medianAndSigma, modifiedZ } from "../../src/numbers/robust.js";

it("median and MAD of chem (AMC 1989, R package MASS)", () => {
  const chem = [
    2.9, 3.1, 3.4, 3.4, 3.7, 3.7, 2.8, 2.5, 2.4, 2.4, 2.7, 2.2, 5.28, 3.37, 3.03, 3.03, 28.95, 3.77, 3.4, 2.2, 3.5, 3.6,
    3.7, 3.7,
  ];
  expect(medianAndSigma(chem).median).toBeCloseTo(3.385, 12);
  expect(medianAndSigma(chem).sigma / madToSigma).toBeCloseTo(0.355, 12);
  expect(madToSigma).toBeCloseTo(1.482602218505602, 15);
  expect(median([Number.NaN, 1, 3])).toBe(2);
  expect(quantile([], 0.5)).toBeNaN();
});

it("modified z-scores (Iglewicz & Hoaglin 1993, values computed in R)", () => {
  const z = modifiedZ([2.31, 2.35, 2.28, 2.4, 2.33, 2.37, 2.3, 3.95, 2.36, 2.29]);
  const expected = [-0.5781, 0.1927, -1.1563, 1.1563, -0.1927, 0.5781, -0.7709, 31.027, 0.3854, -0.9636];
  // The table rounds 0.6745; ours is 1 / 1.4826022.
  for (const [i, value] of expected.entries()) expect(z[i]! / value).toBeCloseTo(1, 3);
});

it("Spearman's rank correlation: tuna (Hollander & Wolfe 1973, p. 187f, by R), ties (SciPy's documentation)", () => {
  expect(
    spearman([44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1], [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8]),
  ).toBeCloseTo(0.6, 12);
  expect(spearman([12, 2, 1, 12, 2], [1, 4, 7, 1, 0])).toBeCloseTo(-0.540738070436, 10);
});

it("the normal distribution function to 1e-7 (values of SciPy 1.10, norm.cdf)", () => {
  const values = [
    [-3, 0.0013498980316300933],
    [-1.96, 0.024997895148220435],
    [-0.5, 0.3085375387259869],
    [0, 0.5],
    [0.67, 0.7485711049046899],
    [1.96, 0.9750021048517795],
    [3, 0.9986501019683699],
  ] as const;
  for (const [z, p] of values) expect(Math.abs(normalCumulative(z) - p)).toBeLessThan(1e-7);
});
