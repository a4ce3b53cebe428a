// Simulated nights as measured tables: made, measured and matched in memory, not graded yet.
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { groupsOf } from "../../src/grade/groups.js";
import { packBrightStars, unpackBrightStars } from "../../src/measure/bright-stars.js";
import type { FrameBuffers } from "../../src/measure/frame-buffers.js";
import { matchStars } from "../../src/measure/match.js";
import { measureFrame } from "../../src/measure/measure-frame.js";
import { relateSubs } from "../../src/measure/relate-subs.js";
import { subFacts } from "../../src/measure/sub-facts.js";
import { subMeasurement } from "../../src/measure/sub-measurement.js";
import { subRow } from "../../src/measure/sub-row.js";
import { exposureFacts } from "../../src/read/exposure-facts.js";
import { openFile } from "../../src/read/file-bytes.js";
import { firstImage, openPixels } from "../../src/read/hdu.js";
import { parseScenario, type Scenario } from "../../src/simulate/scenario.js";
import { type SimulatedFile, simulateNight } from "../../src/simulate/simulate-night.js";
import type { FrameTruth } from "../../src/simulate/truth.js";
import { FitsError } from "../../src/terms/errors.js";
import { type FrameRow, type FrameTable, fromRows } from "../../src/terms/frame-table.js";
import { truthOfStack } from "../house/scorer.js";

/** A measured night with its truth, and what grading is told. */
export interface SimulatedTable {
  readonly table: FrameTable;
  readonly truth: readonly FrameTruth[];
  readonly starlight: Float64Array;
  readonly starlightError: Float64Array;
}

export function readScenario(name: string): Scenario {
  const url = new URL(`../scenarios/${name}.json`, import.meta.url);
  return parseScenario(readFileSync(url, "utf8"), name);
}

/** Makes and measures the nights of a scenario; `onFile` sees each file's bytes. */
export async function simulatedTable(
  given: Scenario,
  options: { readonly seed: number; readonly frames?: number; readonly onFile?: (file: SimulatedFile) => void },
): Promise<SimulatedTable> {
  const scenario = { ...given, seed: options.seed };
  const folder = mkdtempSync(join(tmpdir(), "nightyield-grade-"));
  try {
    const rows: Partial<FrameRow>[] = [];
    const stars: Uint8Array[] = [];
    const files: { night: string; truth: FrameTruth }[] = [];
    const scratch: { buffers?: FrameBuffers } = {};
    for (const simulated of simulateNight(scenario, options)) {
      options.onFile?.(simulated);
      const file = `${simulated.night}/${simulated.name}`;
      files.push({ night: simulated.night, truth: { ...simulated.truth, file } });
      const path = join(folder, "one.fits");
      writeFileSync(path, simulated.bytes);
      const measured = measuredFile(path, file, scratch);
      rows.push(measured.row);
      stars.push(measured.stars);
    }
    const table = fromRows(rows);
    return { ...(await related(table, stars)), truth: truthOfStack(scenario, files) };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

const noStars = new Uint8Array(0);

function measuredFile(path: string, file: string, scratch: { buffers?: FrameBuffers }) {
  const source = openFile(path, file);
  try {
    const image = firstImage(source);
    const reader = openPixels(image.source, image.hdu);
    const facts = subFacts(exposureFacts(image.headers, []), reader);
    if (facts.described.kind !== "light") return { row: { ...facts.described, file }, stars: noStars };
    const { buffers } = scratch;
    delete scratch.buffers;
    const measured = measureFrame(reader, { ...facts.options, ...(buffers && { scratch: buffers }) });
    scratch.buffers = measured.scratch;
    return { row: { ...subRow(facts, subMeasurement(measured)), file }, stars: packBrightStars(measured.stars) };
  } catch (error) {
    if (!(error instanceof FitsError)) throw error;
    return { row: { file, kind: "unreadable" }, stars: noStars };
  } finally {
    source.close();
  }
}

/** Matches the subs of each group; shifts go into the table. */
async function related(table: FrameTable, stars: readonly Uint8Array[]): Promise<Omit<SimulatedTable, "truth">> {
  const nothing = () => new Float64Array(table.rows).fill(Number.NaN);
  const starlight = nothing();
  const starlightError = nothing();
  const columns = { shiftXPx: nothing(), shiftYPx: nothing(), rotationDeg: nothing() };
  for (const { rows } of groupsOf(table)) {
    const sides = rows.map((row) => ({
      width: table.width[row]!,
      height: table.height[row]!,
      brightStars: stars[row]!,
    }));
    const subs = sides.map((side, i) => ({
      ...side,
      starCount: table.starCount[rows[i]!]!,
      fwhmPx: table.fwhmPx[rows[i]!]!,
      airmass: table.airmass[rows[i]!]!,
      streaks: table.streaks[rows[i]!]!,
      blockedFraction: table.blockedFraction[rows[i]!]!,
    }));
    const matchable = sides.map(({ brightStars, ...size }) => ({ ...size, stars: unpackBrightStars(brightStars) }));
    const { relations } = await relateSubs(subs, async (a, b) => matchStars(matchable[a]!, matchable[b]!));
    rows.forEach((row, i) => {
      const relation = relations[i];
      if (!relation) return;
      starlight[row] = relation.starlight;
      starlightError[row] = relation.starlightError;
      columns.shiftXPx[row] = relation.shiftXPx;
      columns.shiftYPx[row] = relation.shiftYPx;
      columns.rotationDeg[row] = relation.rotationDeg;
    });
  }
  return { table: { ...table, ...columns }, starlight, starlightError };
}
