import type { FrameTable } from "../terms/frame-table.js";

/** Light frames in time, night by night. */
export interface NightRows {
  readonly rows: Int32Array;
  /** Number of the night of each entry of `rows`, from 0. */
  readonly nightOf: Int32Array;
  readonly nights: number;
  /** Start of each, in hours since 1970. */
  readonly hours: Float64Array;
}

/** A pause that ends a night: shorter than any day with a night before and after it that is worth observing. */
const pauseH = 5;

/** Hours since 1970; NaN when not a time. */
export const hourOfUtc = (utc: string): number => Date.parse(/Z$/.test(utc) ? utc : `${utc}Z`) / 3_600_000;

/** Sorts the light frames with a known start by time and splits them into nights at long pauses. */
export function nightRowsOf(table: FrameTable): NightRows {
  const hourOf = Float64Array.from(table.startUtc, hourOfUtc);
  const rows = Array.from({ length: table.rows }, (_, row) => row)
    .filter((row) => table.kind[row] === "light" && Number.isFinite(hourOf[row]))
    .sort((a, b) => hourOf[a] - hourOf[b] || a - b);
  const nightOf = new Int32Array(rows.length);
  for (let i = 1; i < rows.length; i++)
    nightOf[i] = nightOf[i - 1] + Number(hourOf[rows[i]] - hourOf[rows[i - 1]] > pauseH);
  const nights = rows.length === 0 ? 0 : nightOf[rows.length - 1] + 1;
  return { rows: Int32Array.from(rows), nightOf, nights, hours: Float64Array.from(rows, (row) => hourOf[row]) };
}
