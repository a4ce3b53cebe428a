import { median } from "../numbers/quantiles.js";
import type { FrameTable } from "../terms/frame-table.js";
import { gainByFlats, type WithError } from "./calibration-noise.js";

/** Level and noise of the bias or dark frames of a camera setting. */
export interface Calibration {
  readonly levelAdu: number;
  readonly noiseAdu: number;
  /** Standard error of the noise, by the number of pixels. */
  readonly noiseErrorAdu: number;
  readonly exposureS: number;
  readonly sensorTempC: number;
}

type Kind = "bias" | "dark" | "dark-flat" | "flat";

/** Measuring looks at no more pixels of a pair than this (measure/sub-task.ts). */
const mostPixels = 1 << 20;
/** Darks of one length are one set while their temperatures differ by no more than this. */
const sameTempC = 2;

function rowsLike(table: FrameTable, kinds: readonly Kind[], like: number): number[] {
  return Array.from({ length: table.rows }, (_, row) => row).filter(
    (row) =>
      (kinds as readonly string[]).includes(table.kind[row]) &&
      table.noiseAdu[row] > 0 &&
      table.width[row] === table.width[like] &&
      // Tables made by hand often lack the height.
      !(Math.abs(table.height[row] - table.height[like]) > 0) &&
      Object.is(table.gainSetting[row], table.gainSetting[like]),
  );
}

/**
 * Level and noise of the bias frames of the same camera setting, where the table has them: `noiseAdu` of such a row is
 * that of a pair (`pairNoise`).
 * @param like - a light frame's row
 * @returns null when there are none
 */
export function biasOf(table: FrameTable, like: number): Calibration | null {
  const rows = rowsLike(table, ["bias"], like);
  return rows.length === 0 ? null : calibrationIn(table, rows);
}

/** The same of dark frames, those for flats among them: one entry a length and temperature, shortest first. */
export function darksOf(table: FrameTable, like: number): Calibration[] {
  const sets: number[][] = [];
  for (const row of rowsLike(table, ["dark", "dark-flat"], like)) {
    if (!(table.exposureS[row] > 0)) continue;
    const near = sets.find(
      ([first]) =>
        table.exposureS[first] === table.exposureS[row] &&
        !(Math.abs(table.sensorTempC[first] - table.sensorTempC[row]) > sameTempC),
    );
    if (near === undefined) sets.push([row]);
    else near.push(row);
  }
  return sets.map((rows) => calibrationIn(table, rows)).sort((a, b) => a.exposureS - b.exposureS);
}

function calibrationIn(table: FrameTable, rows: readonly number[]): Calibration {
  const middle = (of: ArrayLike<number>) => median(rows.map((row) => of[row]));
  const noiseAdu = middle(table.noiseAdu);
  return {
    levelAdu: middle(table.backgroundAdu),
    noiseAdu,
    noiseErrorAdu: noiseAdu / Math.sqrt(2 * pixelsOf(table, rows[0])),
    exposureS: middle(table.exposureS),
    sensorTempC: middle(table.sensorTempC),
  };
}

/** e-/ADU from flat frames of the table, with bias frames or the shortest darks; null without either. */
export function gainOfFlats(table: FrameTable, like: number): (WithError & { readonly from: "flat-frames" }) | null {
  // Of a well lit flat's variance and light, a short dark's dark current is next to nothing.
  const base = biasOf(table, like) ?? darksOf(table, like)[0];
  if (base === undefined) return null;
  const gains = rowsLike(table, ["flat"], like).flatMap((row) => {
    const noiseAdu = table.noiseAdu[row];
    const noiseErrorAdu = noiseAdu / Math.sqrt(2 * pixelsOf(table, row));
    const gain = gainByFlats(
      { levelAdu: table.backgroundAdu[row], noiseAdu, noiseErrorAdu, atMost: table.saturatedFraction[row] || 0 },
      base,
    );
    return gain === null ? [] : [gain];
  });
  if (gains.length === 0) return null;
  return {
    value: median(gains.map(({ value }) => value)),
    error: median(gains.map(({ error }) => error)),
    from: "flat-frames",
  };
}

const pixelsOf = (table: FrameTable, row: number) =>
  Math.min(mostPixels, Math.max(100, table.width[row] * table.height[row] || 0));
