// Read noise and e-/ADU from simulated bias and flat frames of a camera whose numbers are known.
import { describe, expect, it } from "vitest";
import { pairNoise } from "../../src/measure/pair-noise.js";
import { gainByFlats, readNoiseInElectrons } from "../../src/plan/calibration-noise.js";
import { noiseModels } from "../../src/plan/noise-model.js";
import { planNight } from "../../src/simulate/frame-plan.js";
import { hotPixelsOf, renderDark, renderFlat } from "../../src/simulate/render-frame.js";
import { parseScenario } from "../../src/simulate/scenario.js";
import { fromRows } from "../../src/terms/frame-table.js";
import { readScenario } from "./simulated-tables.js";

/** Two bias and two flat frames: read noise in e-, e-/ADU, pedestal 400 ADU, hot pixels among them. */
function frames(readNoiseE: number, electronsPerAdu: number, fullWellE = 38_000) {
  const plain = readScenario("dusk");
  const scenario = parseScenario(
    JSON.stringify({
      ...plain,
      camera: { ...plain.camera, readNoiseE, electronsPerAdu, fullWellE, hotPixelFraction: 0.002 },
    }),
    "calibration",
  );
  const plans = planNight(scenario, scenario.nights[0]!);
  const hot = hotPixelsOf(scenario);
  return {
    bias: plans.slice(0, 2).map((plan) => renderDark(scenario, { ...plan, exposureS: 0.001 }, hot)),
    dark: plans.slice(0, 2).map((plan) => renderDark(scenario, { ...plan, exposureS: 300 }, hot)),
    flat: plans.slice(0, 2).map((plan) => renderFlat(scenario, plan, hot)),
  };
}

describe("read noise and e-/ADU from calibration frames", () => {
  it.each([
    [1.7, 0.8],
    [9, 2],
    [3.4, 0.25],
  ])("read noise %f e-, %f e-/ADU: within three standard errors and the rounding to whole ADU", (readE, gain) => {
    const { bias, flat } = frames(readE, gain);
    const dark = pairNoise(bias[0]!, bias[1]!);
    const light = pairNoise(flat[0]!, flat[1]!, dark.levelAdu);
    const found = gainByFlats(light, dark)!;
    const read = readNoiseInElectrons(dark, found);
    console.log(
      `${readE} e-, ${gain} e-/ADU: found ${read.value.toFixed(4)} +- ${read.error.toFixed(4)} e-, ${found.value.toFixed(4)} +- ${found.error.toFixed(4)} e-/ADU, pedestal ${dark.levelAdu.toFixed(2)} ADU`,
    );
    expect(Math.abs(found.value - gain)).toBeLessThan(3 * found.error);
    expect(found.error / gain).toBeLessThan(0.01);
    // Rounding adds a variance of 1/12 ADU^2, which a user's subs have as well.
    const withRounding = Math.hypot(readE, gain / Math.sqrt(12));
    expect(Math.abs(read.value - withRounding)).toBeLessThan(3 * read.error);
    expect(Math.abs(dark.levelAdu - 400)).toBeLessThan(0.1);
  });

  it("a lamp that changed by a tenth between the flats does not count", () => {
    const { bias, flat } = frames(1.7, 0.8);
    const dark = pairNoise(bias[0]!, bias[1]!);
    // Flats are lit to half of the full well: nine tenths of that are nine tenths of the light, with their own noise.
    const dimmer = frames(1.7, 0.8, 34_200).flat[1]!;
    const pair = pairNoise(flat[0]!, dimmer, dark.levelAdu);
    expect(Math.abs(pair.ratio / 0.9 - 1)).toBeLessThan(0.002);
    const found = gainByFlats(pair, dark)!;
    expect(Math.abs(found.value - 0.8)).toBeLessThan(3 * found.error);
    // Taken as they are, vignetting would pass for noise.
    expect(gainByFlats(pairNoise(flat[0]!, dimmer), dark)!.value).toBeLessThan(0.75);
  });

  it("flats at the limit, flats without light, and frames of two sizes are refused", () => {
    const { bias, flat } = frames(1.7, 0.8);
    const dark = pairNoise(bias[0]!, bias[1]!);
    const full = flat.map((frame) => frame.map((v) => Math.min(v, 1500)));
    expect(gainByFlats(pairNoise(full[0]!, full[1]!, dark.levelAdu), dark)).toBeNull();
    expect(gainByFlats(dark, dark)).toBeNull();
    expect(() => pairNoise(bias[0]!, bias[1]!.slice(1))).toThrow(/one size/);
  });

  it("a table with such rows needs nothing else", () => {
    const { bias, flat } = frames(1.7, 0.8);
    const dark = pairNoise(bias[0]!, bias[1]!);
    const light = pairNoise(flat[0]!, flat[1]!, dark.levelAdu);
    const common = { width: 320, height: 240, gainSetting: 100 };
    // 10 s under 2 e-/s/px: variance (20 + 1.7^2) / 0.8^2 ADU^2.
    const subs = Array.from({ length: 9 }, () => ({
      ...common,
      kind: "light",
      verdict: "keep",
      filter: "L",
      exposureS: 10,
      backgroundAdu: 425,
      noiseAdu: Math.sqrt(20 + 1.7 ** 2) / 0.8,
    }));
    const rows = [
      ...subs,
      { ...common, kind: "bias", backgroundAdu: dark.levelAdu, noiseAdu: dark.noiseAdu },
      { ...common, kind: "flat", backgroundAdu: light.levelAdu, noiseAdu: light.noiseAdu, saturatedFraction: 0 },
    ];
    const [model] = noiseModels(fromRows(rows));
    expect(model).toMatchObject({
      missing: [],
      electronsPerAdu: { from: "flat-frames" },
      readNoiseE: { from: "bias-frames" },
    });
    expect(Math.abs(model!.backgroundEPerS / 2 - 1)).toBeLessThan(0.03);
    expect(Math.abs(model!.readTimeS / (1.7 ** 2 / 2) - 1)).toBeLessThan(0.05);
    // Without the flats, electrons are not known, but what read noise is of a sub's noise is.
    const [relative] = noiseModels(fromRows(rows.slice(0, -1)));
    expect(relative).toMatchObject({ electronsPerAdu: null, readNoiseE: null, missing: [] });
    expect(relative!.backgroundEPerS).toBeNaN();
    expect(Math.abs(relative!.readTimeS / (1.7 ** 2 / 2) - 1)).toBeLessThan(0.05);
  });
});
