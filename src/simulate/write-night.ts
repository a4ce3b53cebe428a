import { join } from "node:path";
import { writeWhole } from "../read/write-whole.js";
import type { Scenario } from "./scenario-shape.js";
import { type SimulateOptions, simulateNight } from "./simulate-night.js";
import { type FrameTruth, writeTruth } from "./truth.js";

/** What was written. */
export interface WrittenNights {
  /** Folders with the frames, one a night, in order. */
  readonly folders: readonly string[];
  /** Truth tables beside them, in the same order. */
  readonly truthFiles: readonly string[];
  readonly files: number;
  readonly bytes: number;
}

/**
 * Writes a scenario's nights below a folder: `nights/<night>/` with the frames and `truth/<night>.ecsv` beside them.
 * Every file is written whole or not at all; files of the same names are replaced, others are left alone.
 * @param options - as of `simulateNight`
 * @throws CannotError when the disk is full or the folder cannot be written
 */
export function writeNights(scenario: Scenario, folder: string, options: SimulateOptions = {}): WrittenNights {
  const truths = new Map<string, FrameTruth[]>(scenario.nights.map(({ name }) => [name, []]));
  let [files, bytes] = [0, 0];
  for (const file of simulateNight(scenario, options)) {
    writeWhole(join(folder, "nights", file.night, file.name), file.bytes);
    truths.get(file.night)!.push(file.truth);
    files++;
    bytes += file.bytes.length;
  }
  const truthFiles = [...truths].map(([night, rows]) => {
    const path = join(folder, "truth", `${night}.ecsv`);
    writeWhole(path, writeTruth(rows));
    return path;
  });
  return { folders: scenario.nights.map(({ name }) => join(folder, "nights", name)), truthFiles, files, bytes };
}
