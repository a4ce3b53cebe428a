import { median } from "../numbers/quantiles.js";
import type { FrameTable } from "../terms/frame-table.js";
import { gainByFlats } from "./calibration-noise.js";

/** Level and noise of the bias or dark frames of a camera setting. */
export interface Calibration {
  readonly levelAdu: number;
  readonly noiseAdu: number;
  /** Standard error of the noise, by the number of pixels. */
  readonly noiseErrorAdu: number;
  readonly exposureS: number;
  readonly sensorTempC: number;
}

function rowsLike(table: FrameTable, kind: "bias" | "dark" | "flat", like: number): number[] {
  return Array.from({ length: table.rows }, (_, row) => row).filter(
    (row) =>
      table.kind[row] === kind &&
      table.noiseAdu[row] > 0 &&
      table.width[row] === table.width[like] &&
      Object.is(table.gainSetting[row], table.gainSetting[like]),
  );
}

/**
 * Level and noise of the bias or dark frames of the same camera setting, where the table has them: `noiseAdu` of such a
 * row is that of a pair (`pairNoise`).
 * @param like - a light frame's row
 * @returns null when there are none
 */
export function calibrationOf(table: FrameTable, kind: "bias" | "dark", like: number): Calibration | null {
  const rows = rowsLike(table, kind, like);
  if (rows.length === 0) return null;
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

/** e-/ADU from flat and bias frames of the table; null without either. */
export function gainOfFlats(
  table: FrameTable,
  like: number,
): { readonly value: number; readonly error: number; readonly from: "flat-frames" } | null {
  const bias = calibrationOf(table, "bias", like);
  if (bias === null) return null;
  const gains = rowsLike(table, "flat", like).flatMap((row) => {
    const noiseAdu = table.noiseAdu[row];
    const noiseErrorAdu = noiseAdu / Math.sqrt(2 * pixelsOf(table, row));
    const gain = gainByFlats(
      { levelAdu: table.backgroundAdu[row], noiseAdu, noiseErrorAdu, atMost: table.saturatedFraction[row] || 0 },
      bias,
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

const pixelsOf = (table: FrameTable, row: number) => Math.max(100, table.width[row] * table.height[row] || 0);
