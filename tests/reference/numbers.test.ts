// Statistics against check-values.md section 6 (computed there with R 4.2.2 and SciPy; sources named in its rows).
import { expect, it } from "vitest";
import { normalCumulative } from "../../src/numbers/normal.js";
import { partialCorrelation } from "../../src/numbers/partial-correlation.js";
import { median, quantile } from "../../src/numbers/quantiles.js";
import { correlation, spearman } from "../../src/numbers/rank.js";
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

it("correlations: tuna (Hollander & Wolfe 1973, p. 187f, by R's ?cor.test), ties (SciPy's documentation)", () => {
  const x = [44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1];
  const y = [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8];
  expect(spearman(x, y)).toBeCloseTo(0.6, 12);
  const straight = partialCorrelation(x, y, []);
  expect(straight.r).toBeCloseTo(0.571181558, 8);
  expect(straight.p).toBeCloseTo(0.108173, 6);
  expect(spearman([12, 2, 1, 12, 2], [1, 4, 7, 1, 0])).toBeCloseTo(-0.540738070436, 10);
});

it("correlation of the law schools' LSAT and GPA (Efron & Tibshirani 1993, computed in R; the book's .776 is from memory)", () => {
  const lsat = [576, 635, 558, 578, 666, 580, 555, 661, 651, 605, 653, 575, 545, 572, 594];
  const gpa = [3.39, 3.3, 2.81, 3.03, 3.44, 3.07, 3.0, 3.43, 3.36, 3.13, 3.12, 2.74, 2.76, 2.88, 2.96];
  expect(correlation(lsat, gpa)).toBeCloseTo(0.776374491289, 11);
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
