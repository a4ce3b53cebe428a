import { groupsOf } from "../grade/groups.js";
import { median } from "../numbers/quantiles.js";
import type { CauseCode } from "../terms/causes.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { RankedCause, SubCause } from "./causes-terms.js";
import { nightRowsOf } from "./drivers-nights.js";

/** A stretch of a night that one cause spoiled. */
export interface Episode {
  readonly cause: CauseCode;
  /** Number of the night, from 0. */
  readonly night: number;
  /** Start of its first sub and end of its last one, UTC, ISO 8601; empty for files without a time. */
  readonly startUtc: string;
  readonly endUtc: string;
  /** Rows of the table, in time. */
  readonly rows: readonly number[];
  readonly dropped: number;
  /** Effective exposure that the subs would have added if they had been like the group's usual kept ones, s. */
  readonly costS: number;
  /** Of its cause, mean over its subs. */
  readonly probability: number;
  /** The likeliest other cause, by the mean over its subs; left out below 10 %. */
  readonly rival?: RankedCause;
}

/** So many subs of other or no cause may lie within an episode, as gusts and patches leave gaps. */
const longestGap = 2;
/** A sub whose likeliest cause beats the episode's by less than this factor does not end it. */
const closeCall = 1.25;
/** An episode ends when nothing was taken for so long. */
const pauseH = 1;

/**
 * Tells a night in a few lines: subs of one cause that follow one another, whatever their target and filter. Where two
 * causes are about as likely, the episode that was going on goes on, and names the other as its rival.
 * @param causeOfRow - by {@link causesOf}
 * @returns in time; episodes of one mild sub that costs less than a tenth of it are left out
 * @example
 * ```ts
 * import { causesOf, episodesOf, gradeNight } from "nightyield";
 * const { table, symptomsOfRow } = gradeNight(measured);
 * const causes = causesOf(table, symptomsOfRow);
 * for (const { cause, startUtc, rows } of episodesOf(causes.table, causes.causeOfRow)) console.log(cause, startUtc, rows.length);
 * ```
 */
export function episodesOf(table: FrameTable, causeOfRow: readonly (SubCause | null)[]): Episode[] {
  const cost = costsOf(table);
  const night = nightRowsOf(table);
  const open = new Map<CauseCode, { rows: number[]; night: number; last: number }>();
  const done: Omit<Episode, "startUtc" | "endUtc" | "dropped" | "costS" | "probability" | "rival">[] = [];
  const close = (cause: CauseCode) => {
    const episode = open.get(cause);
    if (episode !== undefined) done.push({ cause, night: episode.night, rows: episode.rows });
    open.delete(cause);
  };
  night.rows.forEach((row, i) => {
    const pause = i > 0 && night.hours[i] - night.hours[i - 1] > pauseH;
    for (const [cause, { last }] of [...open]) if (pause || i - last > longestGap + 1) close(cause);
    const own = causeOfRow[row];
    if (own === null || own === undefined) return;
    const going = [...open.keys()].sort((a, b) => chanceOf(own, b) - chanceOf(own, a))[0];
    const cause = going !== undefined && chanceOf(own, going) * closeCall > own.probability ? going : own.cause;
    const episode = open.get(cause);
    if (episode === undefined) open.set(cause, { rows: [row], night: night.nightOf[i], last: i });
    else {
      episode.rows.push(row);
      episode.last = i;
    }
  });
  for (const cause of [...open.keys()]) close(cause);
  const timed = new Set(night.rows);
  const bad = causeOfRow.flatMap((cause, row) => (cause?.cause === "bad-file" && !timed.has(row) ? [row] : []));
  if (bad.length > 0) done.push({ cause: "bad-file", night: 0, rows: bad });
  const end = (row: number) => Date.parse(table.startUtc[row].replace(/Z?$/, "Z")) + 1000 * (table.exposureS[row] || 0);
  return done
    .map((episode): Episode => {
      const { rows } = episode;
      const last = end(rows[rows.length - 1]);
      const rival = rivalOf(
        rows.map((row) => causeOfRow[row]!),
        episode.cause,
      );
      return {
        ...episode,
        startUtc: table.startUtc[rows[0]],
        endUtc: Number.isNaN(last) ? "" : new Date(last).toISOString(),
        dropped: rows.filter((row) => table.verdict[row] === "drop").length,
        costS: rows.reduce((sum, row) => sum + cost[row], 0),
        probability: rows.reduce((sum, row) => sum + chanceOf(causeOfRow[row]!, episode.cause), 0) / rows.length,
        ...(rival && { rival }),
      };
    })
    .filter(
      ({ rows, dropped, costS }) =>
        dropped > 0 || costS > 0.1 * rows.reduce((sum, row) => sum + (table.exposureS[row] || 0), 0),
    )
    .sort((a, b) => (a.startUtc < b.startUtc ? -1 : a.startUtc > b.startUtc ? 1 : a.rows[0] - b.rows[0]));
}

const chanceOf = ({ ranked }: SubCause, cause: CauseCode) =>
  ranked.find((one) => one.cause === cause)?.probability ?? 0;

function rivalOf(causes: readonly SubCause[], of: CauseCode): RankedCause | null {
  const sums = new Map<CauseCode, number>();
  for (const { ranked } of causes)
    for (const { cause, probability } of ranked) sums.set(cause, (sums.get(cause) ?? 0) + probability / causes.length);
  sums.delete(of);
  const [first] = [...sums].sort((a, b) => b[1] - a[1]);
  return first !== undefined && first[1] >= 0.1 ? { cause: first[0], probability: first[1] } : null;
}

/**
 * Effective exposure that each row lacks against the usual kept sub of its group, s; a dropped sub adds nothing. Files that
 * cannot be read lack the usual sub of the table.
 * @example
 * ```ts
 * import { costsOf } from "nightyield";
 * console.log(costsOf(table).reduce((sum, s) => sum + s, 0) / 60, "minutes lost");
 * ```
 */
export function costsOf(table: FrameTable): Float64Array {
  const costs = new Float64Array(table.rows);
  const all: number[] = [];
  for (const { rows, exposureS } of groupsOf(table)) {
    const kept = rows.filter((row) => table.verdict[row] === "keep" && table.effectiveExposureS[row] > 0);
    // Without kept subs the exposure itself is the measure.
    const usual =
      kept.length > 0
        ? median(kept.map((row) => table.effectiveExposureS[row]))
        : Number.isFinite(exposureS)
          ? exposureS
          : 0;
    if (kept.length > 0) all.push(usual);
    for (const row of rows) {
      const adds = table.verdict[row] === "drop" ? 0 : table.effectiveExposureS[row];
      costs[row] = Number.isFinite(adds) && table.verdict[row] !== "unjudged" ? Math.max(0, usual - adds) : 0;
    }
  }
  const usual = all.length > 0 ? median(all) : 0;
  for (let row = 0; row < table.rows; row++) if (table.kind[row] === "unreadable") costs[row] = usual;
  return costs;
}
