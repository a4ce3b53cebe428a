import { type FrameTable, frameRow } from "../terms/frame-table.js";
import type { Symptom } from "../terms/symptoms.js";
import { type Verdict, verdicts } from "../terms/verdicts.js";
import { verdictLooks } from "./verdict-look.js";
import { reasonText } from "./words.js";

/** A pause longer than this is cut out of the time axis, and no line is drawn across it. */
export const pauseMs = 3 * 3_600_000;
/** A chart with more marks than this gets slow on a phone. */
const mostMarks = 1500;

/** The light frames of a night in the order of a chart. */
export interface ChartRows {
  /** Row numbers of the table. */
  readonly rows: readonly number[];
  /** Where each of `rows` stands: Unix milliseconds (UTC), or the number of the sub from 1. */
  readonly x: readonly number[];
  /** False when too few subs have a start time, so that subs are only counted. */
  readonly onClock: boolean;
}

/** Light frames in time; in the order of the table where fewer than half of them have a start time. */
export function chartRows(table: FrameTable): ChartRows {
  const light = Array.from({ length: table.rows }, (_, row) => row).filter((row) => table.kind[row] === "light");
  const timed = light
    .map((row) => ({ row, ms: startMs(table.startUtc[row]!) }))
    .filter(({ ms }) => Number.isFinite(ms))
    .sort((a, b) => a.ms - b.ms || a.row - b.row);
  if (timed.length * 2 < light.length || timed.length === 0)
    return { rows: light, x: light.map((_, i) => i + 1), onClock: false };
  return { rows: timed.map(({ row }) => row), x: timed.map(({ ms }) => ms), onClock: true };
}

/** Milliseconds of an ISO 8601 text that is UTC whether it says so or not; NaN where there is none. */
export function startMs(startUtc: string): number {
  return Date.parse(/(?:Z|[+-]\d\d:?\d\d)$/.test(startUtc) ? startUtc : `${startUtc}Z`);
}

/**
 * Fewer marks for a long night: of each verdict every n-th sub, most generous to the rare ones.
 * @returns the chart's rows that are drawn, and of which verdict only every n-th is
 */
export function thinned(chart: ChartRows, table: FrameTable): { readonly chart: ChartRows; readonly note: string } {
  if (chart.rows.length <= mostMarks) return { chart, note: "" };
  const members = verdicts.map((verdict) =>
    chart.rows.flatMap((row, i) => (table.verdict[row] === verdict ? [i] : [])),
  );
  const rareFirst = [...members].sort((a, b) => a.length - b.length);
  const drawn: number[] = [];
  rareFirst.forEach((indices, done) => {
    const room = Math.floor((mostMarks - drawn.length) / (rareFirst.length - done));
    const step = Math.max(1, Math.ceil(indices.length / room));
    drawn.push(...indices.filter((_, i) => i % step === 0));
  });
  drawn.sort((a, b) => a - b);
  const note = `To stay quick, ${drawn.length} of ${chart.rows.length} subs are drawn, the rarer verdicts more fully; the table has all.`;
  return { chart: { ...chart, rows: drawn.map((i) => chart.rows[i]!), x: drawn.map((i) => chart.x[i]!) }, note };
}

/** Stretches of the time axis without subs. */
export function pauses({ x, onClock }: ChartRows): [number, number][] {
  if (!onClock) return [];
  return x.slice(1).flatMap((end, i): [number, number][] => (end - x[i]! > pauseMs ? [[x[i]!, end]] : []));
}

/** Text made safe for the chart library, which understands a little HTML. */
export const chartText = (text: string): string =>
  text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");

/** What is said when a mark is pointed at: file, verdict, reasons with numbers. */
export function hoverText(table: FrameTable, row: number, symptoms: readonly Symptom[]): string {
  const { file, verdict, filter, startUtc } = frameRow(table, row);
  const about = [verdict, filter, startUtc === "" ? "" : `${startUtc.slice(11, 19)} UTC`].filter(Boolean).join(", ");
  return [
    `<b>${chartText(file)}</b>`,
    `${verdictLooks[verdict as Verdict]?.sign ?? ""} ${chartText(about)}`,
    ...symptoms.map((symptom) => chartText(reasonText(symptom))),
  ].join("<br>");
}
