import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { type NightRequest, type TriagedNight, triageNight } from "../night.js";
import { writeWhole } from "../read/write-whole.js";
import type { Scenario } from "../simulate/scenario-shape.js";
import { type SimulateOptions, simulateNight } from "../simulate/simulate-night.js";
import type { FrameTruth } from "../simulate/truth.js";

/** A simulated night, measured, with what is true of it. */
export interface SimulatedNight {
  /** As measured and graded. */
  readonly night: TriagedNight;
  /** By row of the table: what is true of the file. */
  readonly truth: readonly FrameTruth[];
}

/**
 * Makes the nights of a scenario, measures and grades them as if they had been photographed, and gives the truth beside
 * what was measured: to see how well a quantity is measured, or what a night of your own kind would come to. The frames
 * lie in a temporary folder meanwhile.
 * @param scenario - by {@link parseScenario}
 * @param options - `frames`: at most so many a night; `seed`; and everything of {@link triageNight}
 * @throws CallError when an option is out of range; CannotError when the temporary folder cannot be written
 * @example
 * ```ts
 * import { parseScenario, triageSimulated } from "nightyield";
 * const scenario = {
 *   name: "ten subs",
 *   site: { name: "garden", latitudeDeg: 48, longitudeDeg: 16 },
 *   telescope: { name: "small", apertureMm: 60, focalLengthMm: 380 },
 *   camera: { name: "small", width: 320, height: 240, pixelSizeUm: 3.9 },
 *   filters: { L: { kind: "broadband", widthNm: 240 } },
 *   targets: { field: { raDeg: 303, decDeg: 38, glow: { kind: "none" } } },
 *   nights: [{ name: "one", startUtc: "2025-10-18T20:00:00Z", blocks: [{ target: "field", filter: "L", exposureS: 30, frames: 10 }] }],
 * };
 * const { night, truth } = await triageSimulated(parseScenario(JSON.stringify(scenario), "ten subs"));
 * console.log(night.table.fwhmPx[0], "px measured,", truth[0].fwhmPx, "px true");
 * ```
 */
export async function triageSimulated(
  scenario: Scenario,
  options: NightRequest & Pick<SimulateOptions, "frames" | "seed"> = {},
): Promise<SimulatedNight> {
  const { frames, seed, ...request } = options;
  const folder = mkdtempSync(join(tmpdir(), "nightyield-simulated-"));
  try {
    const truthOf = new Map<string, FrameTruth>();
    const simulated = simulateNight(scenario, {
      ...(frames !== undefined && { frames }),
      ...(seed !== undefined && { seed }),
    });
    for (const file of simulated) {
      writeWhole(join(folder, file.night, file.name), file.bytes);
      truthOf.set(`${file.night}/${file.name}`, file.truth);
    }
    const { paths, ...night } = await triageNight([folder], request);
    const truth = night.table.file.map((file) => truthOf.get(file)!);
    // The frames are gone: neither their folder nor their paths mean anything.
    return { night: { ...night, folders: [scenario.name], paths: paths.map(() => "") }, truth };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
