// Autocorrelated noise: against R's arima (check-values.md section 6, row lh; C) and against NumPy with the whole covariance
// matrix written out, which ours never makes (statistics-serial.py).
import { spawnSync } from "node:child_process";
import { fileURLToPath } from "node:url";
import { describe, expect, it } from "vitest";
import { randomStream } from "../../src/numbers/random.js";
import { serialInflation, whitened, whitenerFor } from "../../src/numbers/serial-noise.js";
import { serialRegression, solve } from "../../src/numbers/serial-regression.js";
import { hasPython, python, withoutPython } from "./python.js";
import { dataset, furthest, hasDatasets, withoutDatasets } from "./statistics-data.js";

it.skipIf(!hasDatasets)(
  `lh: with R's ar1 .573929601, mean 2.413287958, sigma2 .197489515 and loglik -29.3791624 follow (arima, ML; C)${withoutDatasets}`,
  () => {
    const { lh } = dataset("lh");
    const n = lh.length;
    const starts = [0, n];
    const likelihoodAt = (rho: number) => {
      const whitener = whitenerFor({ rho, share: 1 }, n);
      const [one, y] = [new Float64Array(n).fill(1), lh].map((v) => whitened(v, starts, whitener));
      let [top, bottom, rss] = [0, 0, 0];
      for (let i = 0; i < n; i++) {
        top += one[i] * y[i];
        bottom += one[i] * one[i];
      }
      const mean = top / bottom;
      for (let i = 0; i < n; i++) rss += (y[i] - mean * one[i]) ** 2;
      // The noise has variance 1 before scaling; R quotes the variance of what is new in each value.
      const variance = rss / n;
      const logLikelihood = -0.5 * (n * Math.log(2 * Math.PI * variance) + n + whitener.logVariance[n]);
      return { mean, sigma2: variance * (1 - rho * rho), logLikelihood };
    };
    const { mean, sigma2, logLikelihood } = likelihoodAt(0.573929601);
    expect(furthest([mean, sigma2, logLikelihood], [2.413287958, 0.197489515, -29.3791624])).toBeLessThan(1e-6);
    // R's ar1 is where the likelihood is largest.
    for (const step of [-0.005, 0.005])
      expect(likelihoodAt(0.573929601 + step).logLikelihood).toBeLessThan(logLikelihood);
  },
);

/** Three series of unlike length with two columns, one nearly a trend. */
function example() {
  const random = randomStream(8, "dense");
  const starts = [0, 30, 42, 75];
  const n = 75;
  const columns = [
    Float64Array.from({ length: n }, (_, i) => i / 20 + 0.1 * random.normal()),
    Float64Array.from({ length: n }, () => random.normal()),
  ];
  let slow = 0;
  const y = Float64Array.from({ length: n }, (_, i) => {
    slow = 0.7 * slow + random.normal();
    return slow + 0.5 * random.normal() + columns[0][i] + (i < 30 ? 4 : 0);
  });
  return { columns, y, starts };
}
const noises = [
  { rho: 0, share: 1 },
  { rho: 0.55, share: 0.6 },
  { rho: 0.92, share: 0.85 },
  { rho: 0.985, share: 1 },
];

describe.skipIf(!hasPython("numpy"))(
  `against NumPy's dense matrices${hasPython("numpy") ? "" : ` (${withoutPython("numpy")})`}`,
  () => {
    it("coefficients, errors, restricted likelihood and the price of autocorrelation", () => {
      const { columns, y, starts } = example();
      const script = fileURLToPath(new URL("./statistics-serial.py", import.meta.url));
      const input = JSON.stringify({ columns: columns.map((c) => [...c]), y: [...y], starts, noises });
      const run = spawnSync(python, [script], { encoding: "utf8", input });
      if (run.status !== 0) throw new Error(run.stderr);
      const expected: { coefficients: number[]; errors: number[]; logLikelihood: number; inflation: number }[] =
        JSON.parse(run.stdout);
      const degreesOfFreedom = y.length - 3 - 2;
      const ours = noises.map((noise) => solve(columns, y, starts, whitenerFor(noise, 33), degreesOfFreedom)!);
      let worst = 0;
      ours.forEach((fit, k) => {
        const errors = [0, 1].map((i) => Math.sqrt(fit.sigma2 * fit.covariance[3 * i]));
        const inflation = serialInflation(columns[1], starts, noises[k]);
        worst = Math.max(
          worst,
          furthest(
            [...fit.coefficients, ...errors, inflation],
            [...expected[k].coefficients, ...expected[k].errors, Math.max(1, expected[k].inflation)],
          ),
          // Likelihoods are up to a constant.
          Math.abs(fit.logLikelihood - ours[0].logLikelihood - (expected[k].logLikelihood - expected[0].logLikelihood)),
        );
      });
      console.log(`serial regression: furthest from the dense solution ${worst.toExponential(1)}`);
      expect(worst).toBeLessThan(1e-8);
      // The search ends no lower than the best of these.
      const found = serialRegression(columns, y, starts)!;
      const best = solve(columns, y, starts, whitenerFor(found.noise, 33), degreesOfFreedom)!.logLikelihood;
      for (const { logLikelihood } of ours) expect(best).toBeGreaterThanOrEqual(logLikelihood);
    });
  },
);
