// Tail functions against SciPy 1.10.1 (C), from the middle far into the tails.
import { spawnSync } from "node:child_process";
import { fileURLToPath } from "node:url";
import { describe, expect, it } from "vitest";
import { betaQuantile, betaTails } from "../../src/numbers/beta.js";
import { findRoot } from "../../src/numbers/find-root.js";
import { gammaQuantile, gammaTails, logGamma } from "../../src/numbers/gamma.js";
import { poissonInterval } from "../../src/numbers/poisson-interval.js";
import { jeffreysInterval } from "../../src/numbers/proportion-intervals.js";
import {
  chiSquareQuantile,
  chiSquareTail,
  fTail,
  normalQuantile,
  normalTail,
  tQuantileTwoSided,
  tTwoSided,
} from "../../src/numbers/tails.js";
import { CallError } from "../../src/terms/errors.js";
import { hasPython, python, withoutPython } from "./python.js";

const ours: Record<string, (...a: number[]) => number> = {
  logGamma,
  gammaUpper: (a, x) => gammaTails(a, x).upper,
  gammaLower: (a, x) => gammaTails(a, x).lower,
  betaLower: (a, b, x) => betaTails(a, b, x).lower,
  normalTail,
  normalQuantile,
  chiSquareTail,
  chiSquareQuantile,
  tTwoSided,
  tQuantileTwoSided,
  fTail,
  betaQuantile,
  gammaQuantile: (p, shape) => gammaQuantile(p, shape),
  poissonLow: (k) => poissonInterval(k).low,
  poissonHigh: (k) => poissonInterval(k).high,
  jeffreysLow: (k, n) => jeffreysInterval(k, n).low,
};
const grid = (name: string, ...axes: (readonly number[])[]): [string, ...number[]][] =>
  axes.reduce<[string, ...number[]][]>(
    (rows, axis) => rows.flatMap((r) => axis.map((v): typeof r => [...r, v])),
    [[name]],
  );
const degrees = [1, 2, 5, 30, 400, 20_000];
const asked = [
  ...grid("logGamma", [1e-5, 0.1, 0.5, 1.5, 3, 9.99, 10, 123.4, 1e6]),
  ...grid("gammaUpper", [0.1, 0.5, 3, 50, 2000], [1e-8, 0.3, 2, 45, 70, 1950, 2100]),
  ...grid("gammaLower", [0.1, 0.5, 3, 50, 2000], [1e-8, 0.3, 2, 45, 70, 1950, 2100]),
  ...grid("betaLower", [0.5, 2, 30, 900], [0.5, 3, 200], [1e-9, 0.01, 0.5, 0.9, 0.999]),
  ...grid("normalTail", [-6, -1.3, 0, 0.01, 2, 6, 20]),
  ...grid("normalQuantile", [1e-200, 1e-10, 0.025, 0.3, 0.5001, 0.9, 0.999999]),
  ...grid("chiSquareTail", [1e-6, 0.5, 7, 60, 500], degrees),
  ...grid("chiSquareQuantile", [1e-8, 0.05, 0.5, 0.95, 0.999999], degrees),
  ...grid("tTwoSided", [0.001, 0.7, 2.1, 8, -40], degrees),
  ...grid("tQuantileTwoSided", [1e-12, 0.01, 0.1, 0.5, 0.99], degrees),
  ...grid("fTail", [0.01, 1, 4, 90], [1, 3, 40], degrees),
  ...grid("betaQuantile", [1e-9, 0.025, 0.5, 0.975], [0.5, 3, 400], [0.5, 8, 400]),
  ...grid("gammaQuantile", [1e-9, 0.025, 0.5, 0.975], [0.2, 1, 12, 5000]),
  ...grid("poissonLow", [0, 1, 7, 500]),
  ...grid("poissonHigh", [0, 1, 7, 500]),
  ...grid("jeffreysLow", [1, 5, 19], [20, 900]),
];

describe.skipIf(!hasPython("scipy"))(`against SciPy${hasPython("scipy") ? "" : ` (${withoutPython("scipy")})`}`, () => {
  it("every tail and quantile within 1e-10, relatively", () => {
    const script = fileURLToPath(new URL("./statistics-scipy.py", import.meta.url));
    const run = spawnSync(python, [script], { encoding: "utf8", input: JSON.stringify(asked) });
    if (run.status !== 0) throw new Error(run.stderr);
    const expected: number[] = JSON.parse(run.stdout.replaceAll("Infinity", "null"));
    const wrong: string[] = [];
    const worst = new Map<string, number>();
    asked.forEach(([name, ...a], i) => {
      const off = Math.abs(ours[name](...a) - expected[i]) / Math.max(Math.abs(expected[i]), 1e-290);
      worst.set(name, Math.max(worst.get(name) ?? 0, off));
      // What SciPy itself gives as 0 or below 1e-290 is not compared.
      if (Math.abs(expected[i]) > 1e-290 && !(off < 1e-10)) wrong.push(`${name}(${a}): ${off}`);
    });
    expect(wrong).toEqual([]);
    expect(expected).toHaveLength(asked.length);
    console.log([...worst].map(([name, off]) => `${name} ${off.toExponential(0)}`).join(", "));
  });
});

it("ends and wrong calls", () => {
  expect(gammaTails(3, 0)).toEqual({ lower: 0, upper: 1 });
  expect(betaQuantile(1, 2, 3)).toBe(1);
  expect(gammaQuantile(1, 2)).toBe(Number.POSITIVE_INFINITY);
  expect(() => normalQuantile(1.1)).toThrow(CallError);
  expect(() => poissonInterval(-1)).toThrow(CallError);
  expect(() => findRoot((x) => x * x + 1, 0, 1)).toThrow(CallError);
  expect(findRoot(Math.cos, 1, 2)).toBeCloseTo(Math.PI / 2, 11);
});
