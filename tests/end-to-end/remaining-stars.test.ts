// nightyield remaining with stars of known magnitude in a simulated sub.
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, afterEach, beforeAll, describe, expect, it, vi } from "vitest";
import { planNight } from "../../src/simulate/frame-plan.js";
import { renderFrame, type Scene } from "../../src/simulate/render-frame.js";
import { simulateNight } from "../../src/simulate/simulate-night.js";
import { starField } from "../../src/simulate/star-field.js";
import { fromRows } from "../../src/terms/frame-table.js";
import { readScenario } from "../recovery/simulated-tables.js";
import { asked, camera, night, site, writeResult } from "./remaining-asked.js";

const folder = mkdtempSync(join(tmpdir(), "nightyield-stars-"));
const result = join(folder, "d16");
const call = (...args: string[]) => asked(args);
// Variances 22 and 604 ADU^2.
beforeAll(() => writeResult(result, fromRows([...night(16, "Ha", Math.sqrt(22)), ...night(16, "L", Math.sqrt(604))])));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
afterEach(() => vi.restoreAllMocks());

describe("limits from stars of known magnitude", () => {
  it("the zero point of a simulated sub within 0.03 mag of the scenario's own, air included", async () => {
    const base = readScenario("two-filters");
    // Without vignetting, which dims most stars of a field by some per cent.
    const scenario = {
      ...base,
      seed: 5,
      telescope: { ...base.telescope, vignetting: 0 },
      nights: [{ ...base.nights[0]!, repeat: 1, events: [] }],
    };
    const file = simulateNight(scenario).next().value;
    const sub = join(folder, file!.name);
    writeFileSync(sub, file!.bytes);
    const plan = planNight(scenario, scenario.nights[0]!)[0]!;
    const name = Object.keys(scenario.targets)[0]!;
    const stars = starField(scenario.seed, name, scenario.targets[name]!, 4000);
    const scene: Scene = {
      stars,
      glow: null,
      hotPixels: { at: new Int32Array(0), electronsPerS: new Float64Array(0) },
    };
    // Magnitudes above the air: the list's stars by the light that reaches the telescope.
    const placed = renderFrame(scenario, plan, scene).stars;
    const zero = 2.5 * Math.log10(plan.rates.starOfMag0 * plan.air);
    const listed = placed
      .filter(({ electrons }) => electrons > 3000)
      .map(
        ({ x, y, electrons }) =>
          `${x.toFixed(1)},${y.toFixed(1)},${(zero - 2.5 * Math.log10(electrons / plan.exposureS)).toFixed(3)}`,
      );
    writeFileSync(join(folder, "stars.csv"), ["x,y,mag", ...listed].join("\n"));
    const { out } = await call(
      result,
      ...camera,
      "--gain",
      "0.8",
      ...site,
      "--goal-hours",
      "3",
      "--stars",
      join(folder, "stars.csv"),
      "--stars-sub",
      sub,
    );
    const [, mag, used] = /zero point (\d+\.\d+) \+- \S+ mag for 1 e-\/s, from (\d+) of/.exec(out)!;
    console.info(`zero point ${mag}, true ${zero.toFixed(3)}, ${used} of ${listed.length} stars`);
    expect(Math.abs(Number(mag) - zero)).toBeLessThan(0.03);
    // The sub's filter is L: Ha gets no limits from it.
    expect(out.match(/reached: stars of/g)).toHaveLength(1);
    writeFileSync(join(folder, "wrong.csv"), "ra,dec,mag\n10,20,8");
    await expect(call(result, "--stars", join(folder, "wrong.csv"), "--stars-sub", sub)).rejects.toThrow(
      /columns x,y,mag/,
    );
    writeFileSync(join(folder, "few.csv"), "x;y;mag\n1;1;8\n");
    await expect(call(result, "--stars", join(folder, "few.csv"), "--stars-sub", sub)).rejects.toThrow(/3 are needed/);
    writeFileSync(join(folder, "bad.csv"), "x,y,mag\n1,one,8\n");
    await expect(call(result, "--stars", join(folder, "bad.csv"), "--stars-sub", sub)).rejects.toThrow(/line 2/);
  });
});
