// Changes, trends, mixtures and shuffles against R and enumeration (C: computed with R 4.2.2, strucchange 1.5.3).
import { describe, expect, it } from "vitest";
import { arrange, arrangementP, arrangements } from "../../src/numbers/arrangements.js";
import { blockPermutationTest } from "../../src/numbers/block-permutation.js";
import { changePoints, differenceSigma, segment } from "../../src/numbers/change-points.js";
import { lowerPartProbability, twoNormals } from "../../src/numbers/normal-mixture.js";
import { pettitt } from "../../src/numbers/pettitt.js";
import { randomStream } from "../../src/numbers/random.js";
import { mannKendall, theilSen } from "../../src/numbers/theil-sen.js";
import { CallError } from "../../src/terms/errors.js";
import { dataset, furthest, hasDatasets, withoutDatasets } from "./statistics-data.js";

describe.skipIf(!hasDatasets)(`the Nile, 1871 to 1970${withoutDatasets}`, () => {
  const flow = hasDatasets ? dataset("nile").flow : [];
  it("breaks after 1898 (Cobb 1978; C, strucchange)", () => {
    const none = segment(flow, 1e12);
    // strucchange's default keeps 15 % in each segment, as here.
    const one = segment(flow, 4e5, 15);
    expect(none.after).toEqual([]);
    expect(none.residualSumOfSquares).toBeCloseTo(2835156.75, 6);
    expect(one.after).toEqual([28]);
    expect(one.residualSumOfSquares).toBeCloseTo(1597457.19444, 5);
    expect(one.means[0]).toBeCloseTo(1097.75, 9);
    expect(one.means[1]).toBeCloseTo(849.972222, 6);
    expect(changePoints(flow).after).toContain(28);
  });
  it("Pettitt's test (C)", () => {
    const change = pettitt(flow);
    expect(change).toMatchObject({ after: 28, statistic: 1617 });
    expect(change.p / 3.591e-7).toBeCloseTo(1, 3);
  });
  it("Mann-Kendall and Theil-Sen (C)", () => {
    const trend = mannKendall(flow);
    expect(trend.s).toBe(-1387);
    expect(trend.variance).toBeCloseTo(112728.3333, 4);
    expect(trend.z).toBeCloseTo(-4.12806652, 8);
    expect(
      theilSen(
        flow.map((_, i) => 1871 + i),
        flow,
      ).slope,
    ).toBeCloseTo(-2.6, 10);
  });
});

describe("changes of level", () => {
  it("the small example (check-values.md, by hand)", () => {
    const toy = [2.1, 2.0, 2.2, 2.1, 2.0, 2.1, 3.0, 3.1, 2.9, 3.0];
    const found = segment(toy, 0.1, 3);
    expect(found.after).toEqual([6]);
    expect(found.residualSumOfSquares).toBeCloseTo(0.0483333, 7);
    expect(segment(toy, 100, 3).residualSumOfSquares).toBeCloseTo(2.065, 9);
  });
  it("is the best of all segmentations (every one of them tried)", () => {
    const random = randomStream(5, "segments");
    for (let trial = 0; trial < 30; trial++) {
      const values = Array.from({ length: 12 }, (_, i) => random.normal() + (i > 6 ? 2 : 0));
      const penalty = random.between(0.2, 4);
      let best = Number.POSITIVE_INFINITY;
      for (let cuts = 0; cuts < 1 << 11; cuts++) {
        const ends = [0, ...Array.from({ length: 11 }, (_, i) => i + 1).filter((i) => cuts & (1 << (i - 1))), 12];
        const parts = ends.slice(1).map((to, i) => values.slice(ends[i], to));
        if (parts.some((part) => part.length < 3)) continue;
        const rss = parts.map((part) => {
          const m = part.reduce((a, b) => a + b) / part.length;
          return part.reduce((a, b) => a + (b - m) ** 2, 0);
        });
        best = Math.min(best, rss.reduce((a, b) => a + b) + penalty * (parts.length - 1));
      }
      const found = segment(values, penalty, 3);
      expect(found.residualSumOfSquares + penalty * found.after.length).toBeCloseTo(best, 9);
    }
  });
  it("finds a step in autocorrelated noise and few where there is none", () => {
    const counts = [0, 0];
    for (let seed = 0; seed < 60; seed++)
      for (const step of [0, 6]) {
        const random = randomStream(seed, "steps");
        let noise = 0;
        const values = Array.from({ length: 200 }, (_, i) => {
          noise = 0.5 * noise + random.normal();
          return noise + (i >= 120 ? step : 0);
        });
        const { after } = changePoints(values);
        if (step === 0) counts[0] += Number(after.length > 0);
        else counts[1] += Number(after.length === 1 && Math.abs(after[0] - 120) <= 2);
      }
    console.log(`AR(1) 0.5: false change in ${counts[0]} of 60, the step of 5 sigma found in ${counts[1]} of 60`);
    expect(counts[0]).toBeLessThanOrEqual(9);
    expect(counts[1]).toBeGreaterThanOrEqual(54);
  });
  it("does not take a step for noise", () => {
    const random = randomStream(2, "sigma");
    const values = Array.from({ length: 400 }, (_, i) => random.normal() + (i > 200 ? 50 : 0));
    expect(Math.abs(differenceSigma(values) - 1)).toBeLessThan(0.15);
    expect(changePoints([1, 2]).after).toEqual([]);
  });
});

it.skipIf(!hasDatasets)(`mixture: faithful, waiting (C, converged EM)${withoutDatasets}`, () => {
  const parts = twoNormals(dataset("faithful").waiting);
  if (parts === null) throw new Error("no mixture");
  expect(
    furthest(
      [parts.shares[0], ...parts.means, ...parts.sigmas, parts.logLikelihood],
      [0.360886, 54.614856, 80.091069, 5.871219, 5.867734, -1034.00175],
    ),
  ).toBeLessThan(3e-6);
  expect(parts.bicDifference).toBeLessThan(-10);
  expect(lowerPartProbability(parts, 54)).toBeGreaterThan(0.99);
  const random = randomStream(3, "one part");
  const one = twoNormals(Array.from({ length: 300 }, () => random.normal()));
  expect(one?.bicDifference).toBeGreaterThan(0);
  expect(twoNormals([1, 1, 1])).toBeNull();
});

describe("arrangements", () => {
  it("hold every value once, keep most neighbours, and begin with the untouched one", () => {
    const values = Float64Array.from({ length: 75 }, (_, i) => i);
    for (const [k, way] of arrangements([25, 50], 99, randomStream(1, "a")).entries()) {
      const to = new Float64Array(75);
      arrange(values, to, [0, 25], way, 0);
      arrange(values, to, [25, 75], way, 1);
      if (k === 0) expect([...to]).toEqual([...values]);
      // Each series stays in its own place; the longer one has four blocks, so at most four seams and the turned one.
      expect([...to.slice(0, 25)].sort((a, b) => a - b)).toEqual([...values.slice(0, 25)]);
      const long = [...to.slice(25)];
      expect(long.slice().sort((a, b) => a - b)).toEqual([...values.slice(25)]);
      expect(long.slice(1).filter((v, i) => Math.abs(v - long[i]) !== 1).length).toBeLessThanOrEqual(5);
    }
    expect(arrangements([5, 6], 99, randomStream(1, "a"))).toHaveLength(100);
  });
  it("give a p that is never 0: the observed counts as one of them", () => {
    expect(arrangementP([5, 1, -2, 3])).toBe(0.25);
    expect(arrangementP([-1, 1, 2, 3])).toBe(1);
  });
  it("shuffled blocks keep their level on two unrelated autocorrelated series", () => {
    let claimed = 0;
    let naive = 0;
    for (let seed = 0; seed < 200; seed++) {
      const random = randomStream(seed, "blocks");
      const series = () => {
        let v = 0;
        return Array.from({ length: 120 }, () => {
          v = 0.6 * v + random.normal();
          return v;
        });
      };
      const [x, y] = [series(), series()];
      claimed += Number(blockPermutationTest(x, y, random, { blockLength: 8, shuffles: 199 }).p <= 0.05);
      naive += Number(blockPermutationTest(x, y, random, { blockLength: 1, shuffles: 199 }).p <= 0.05);
    }
    console.log(`blocks of 8: ${claimed} of 200 at 5 %; shuffled freely: ${naive}`);
    expect(claimed).toBeLessThanOrEqual(20);
    expect(naive).toBeGreaterThan(claimed);
    expect(() => blockPermutationTest([1, 2, 3], [1, 2, 3], randomStream(1))).toThrow(CallError);
  });
});
