import type { FrameTable } from "../terms/frame-table.js";

/** Subs of one night. */
export interface Night {
  /** Start of the first sub, Unix milliseconds UTC; NaN when no sub of the table has a time. */
  readonly firstMs: number;
  /** End of the last sub. */
  readonly lastMs: number;
  /** Row numbers in time. */
  readonly rows: readonly number[];
}

/** Without a sub for this long, a new night has begun. */
const gapMs = 6 * 3_600_000;

/**
 * Splits light frames into nights: where nothing was taken for six hours. Rows without a time form one night by
 * themselves, at the end.
 * @param rows - row numbers; all light frames when left out
 * @example
 * ```ts
 * import { nightsOf } from "nightyield";
 * for (const { firstMs, rows } of nightsOf(table)) console.log(new Date(firstMs).toISOString(), rows.length);
 * ```
 */
export function nightsOf(table: FrameTable, rows?: readonly number[]): Night[] {
  const chosen =
    rows ?? Array.from({ length: table.rows }, (_, row) => row).filter((row) => table.kind[row] === "light");
  const timed = chosen
    .map((row) => ({ row, ms: startMs(table, row) }))
    .filter(({ ms }) => Number.isFinite(ms))
    .sort((a, b) => a.ms - b.ms);
  const nights: { rows: number[]; firstMs: number; lastMs: number }[] = [];
  for (const { row, ms } of timed) {
    const endMs = ms + 1000 * (table.exposureS[row] || 0);
    const last = nights.at(-1);
    if (last === undefined || ms - last.lastMs > gapMs) nights.push({ rows: [row], firstMs: ms, lastMs: endMs });
    else {
      last.rows.push(row);
      last.lastMs = Math.max(last.lastMs, endMs);
    }
  }
  const untimed = chosen.filter((row) => Number.isNaN(startMs(table, row)));
  if (untimed.length > 0) nights.push({ rows: untimed, firstMs: Number.NaN, lastMs: Number.NaN });
  return nights;
}

/** Start of a row's exposure, Unix milliseconds UTC; NaN when it is not known. */
export function startMs(table: FrameTable, row: number): number {
  const text = table.startUtc[row];
  return text === "" ? Number.NaN : Date.parse(/[zZ]|[+-]\d\d:?\d\d$/.test(text) ? text : `${text}Z`);
}

/**
 * True for a sub that goes into the stack. A table that was not graded has no verdicts: then every light frame
 * counts.
 */
export function isKept(table: FrameTable, row: number): boolean {
  const verdict = table.verdict[row];
  return table.kind[row] === "light" && verdict !== "drop" && verdict !== "unjudged";
}

/**
 * Typical time between the end of a sub and the start of the next, s: the median over pairs of one night and exposure
 * that follow each other within three exposures and a minute. NaN with fewer than five pairs.
 * @example
 * ```ts
 * import { depthReached, overheadOf } from "nightyield";
 * const [{ rows }] = depthReached(table);
 * console.log(overheadOf(table, rows).overheadS);
 * ```
 */
export function overheadOf(table: FrameTable, rows: readonly number[]): { overheadS: number; pairs: number } {
  const gaps: number[] = [];
  for (const night of nightsOf(table, rows))
    for (let i = 1; i < night.rows.length; i++) {
      const [a, b] = [night.rows[i - 1], night.rows[i]];
      const gapS = (startMs(table, b) - startMs(table, a)) / 1000 - table.exposureS[a];
      if (table.exposureS[a] === table.exposureS[b] && gapS > -1 && gapS < 3 * table.exposureS[a] + 60) gaps.push(gapS);
    }
  gaps.sort((a, b) => a - b);
  return { overheadS: gaps.length < 5 ? Number.NaN : Math.max(0, gaps[gaps.length >> 1]), pairs: gaps.length };
}
