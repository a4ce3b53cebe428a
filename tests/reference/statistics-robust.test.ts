// Robust location and spread, rank correlation, and what a sub does to a stack: rows of check-values.md section 6 (C: computed
// with R 4.2.2, robustbase and MASS).
import { describe, expect, it } from "vitest";
import { effectsOn, stackFigure } from "../../src/grade/stack.js";
import { median } from "../../src/numbers/quantiles.js";
import { correlation, spearman } from "../../src/numbers/rank.js";
import { medianAndSigma } from "../../src/numbers/robust.js";
import { dataset, hasDatasets, withoutDatasets } from "./statistics-data.js";

describe.skipIf(!hasDatasets)(`medians, spreads and ranks of published sets${withoutDatasets}`, () => {
  it("abbey: median 11, MAD 4.4478 (Venables & Ripley, MASS, chapter 5; C)", () => {
    const { median: middle, sigma } = medianAndSigma(dataset("abbey").abbey);
    expect(middle).toBe(11);
    expect(sigma).toBeCloseTo(4.4478, 4);
  });
  it("Lew: median -162 (NIST StRD; R)", () => {
    expect(median(dataset<number[]>("nist_lew"))).toBe(-162);
  });
  it("mtcars, mpg and wt: rho -.88642203327, r -.867659376517 (R's datasets; C)", () => {
    const { mpg, wt } = dataset("mtcars");
    expect(spearman(mpg, wt)).toBeCloseTo(-0.88642203327, 10);
    expect(correlation(Float64Array.from(mpg), Float64Array.from(wt))).toBeCloseTo(-0.867659376517, 11);
  });
});

it("one wild value leaves the MAD: 1 to 10, and 1 to 9 with 1000 (robustbase; C)", () => {
  const ten = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10];
  expect(medianAndSigma(ten).sigma).toBeCloseTo(3.7065, 4);
  expect(medianAndSigma([...ten.slice(0, 9), 1000]).sigma).toBeCloseTo(3.7065, 4);
});

describe("stacks (algebra; C)", () => {
  const stack = { signal: [1, 1, 1, 1, 0.5], variance: [1, 1, 1, 1, 4] };
  const all = [0, 1, 2, 3, 4];
  it("signal over noise: 1.118034 with equal weights after scaling, 2 without the last, 2.015564 at best", () => {
    const scaled = stack.signal.map((s) => 1 / s);
    expect(stackFigure(stack, all, scaled)).toBeCloseTo(1.118034, 6);
    expect(stackFigure(stack, all.slice(0, 4))).toBeCloseTo(2, 12);
    const best = stack.signal.map((s, i) => s / stack.variance[i]!);
    expect(stackFigure(stack, all, best)).toBeCloseTo(2.015564, 6);
  });
  it.each([
    [1, 3],
    [4, 2.25],
    [10, 2.1],
    [50, 2.02],
  ])("break even beside %d equal subs is at %d times their variance", (n, times) => {
    const effects = (variance: number) =>
      effectsOn(
        { signal: new Array<number>(n + 1).fill(1), variance: [...new Array<number>(n).fill(1), variance] },
        Array.from({ length: n }, (_, i) => i),
      );
    expect(effects(times).burden[n]).toBeCloseTo(1, 12);
    expect(effects(times).gainEqualWeights[n]).toBeCloseTo(0, 12);
    expect(effects(0.99 * times).gainEqualWeights[n]).toBeGreaterThan(0);
    expect(effects(1.01 * times).gainEqualWeights[n]).toBeLessThan(0);
  });
});
