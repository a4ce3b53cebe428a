import { type FrameTable, frameRow } from "../terms/frame-table.js";
import type { Symptom } from "../terms/symptoms.js";
import { type Verdict, verdicts } from "../terms/verdicts.js";
import { verdictLooks } from "./verdict-look.js";
import { reasonText } from "./words.js";

/** A pause longer than this is cut out of the time axis, and no line is drawn across it. */
export const pauseMs = 3 * 3_600_000;
/** A chart with more marks than this gets slow on a phone, and a screen shows no more side by side. */
const mostMarks = 1200;
/** The highest and lowest value of each of these, in so many stretches of the chart, are drawn in any case. */
const shownColumns = ["fwhmPx", "backgroundAdu", "starCount"] as const;
const stretches = 30;

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
 * Fewer marks for a long night: the outliers of every stretch, and of each verdict every n-th sub, most generous to the
 * rare ones.
 * @returns the chart's rows that are drawn, and a note when not all are
 */
export function thinned(chart: ChartRows, table: FrameTable): { readonly chart: ChartRows; readonly note: string } {
  if (chart.rows.length <= mostMarks) return { chart, note: "" };
  const drawn = outliers(chart, table);
  const members = verdicts.map((verdict) =>
    chart.rows.flatMap((row, i) => (table.verdict[row] === verdict && !drawn.has(i) ? [i] : [])),
  );
  const rareFirst = members.sort((a, b) => a.length - b.length);
  rareFirst.forEach((indices, done) => {
    const room = Math.floor((mostMarks - drawn.size) / (rareFirst.length - done));
    const step = Math.max(1, Math.ceil(indices.length / room));
    for (let i = 0; i < indices.length; i += step) drawn.add(indices[i]!);
  });
  const indices = [...drawn].sort((a, b) => a - b);
  const note = `To stay quick, ${indices.length} of ${chart.rows.length} subs are drawn, the rarer verdicts more fully and the highest and lowest values always; the table has all.`;
  return { chart: { ...chart, rows: indices.map((i) => chart.rows[i]!), x: indices.map((i) => chart.x[i]!) }, note };
}

/** Places, in the chart, of the highest and the lowest values of each stretch. */
function outliers({ rows }: ChartRows, table: FrameTable): Set<number> {
  const found = new Set<number>();
  for (const name of shownColumns) {
    const column = table[name];
    for (let stretch = 0; stretch < stretches; stretch++) {
      const [from, to] = [stretch, stretch + 1].map((s) => Math.floor((s * rows.length) / stretches)) as [
        number,
        number,
      ];
      let [lowest, highest] = [-1, -1];
      for (let i = from; i < to; i++) {
        const value = column[rows[i]!]!;
        if (!Number.isFinite(value)) continue;
        if (lowest < 0 || value < column[rows[lowest]!]!) lowest = i;
        if (highest < 0 || value > column[rows[highest]!]!) highest = i;
      }
      if (lowest >= 0) found.add(lowest).add(highest);
    }
  }
  return found;
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
