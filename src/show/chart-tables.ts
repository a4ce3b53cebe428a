import { median } from "../numbers/quantiles.js";
import type { Verdict } from "../terms/verdicts.js";
import { chartRows } from "./chart-rows.js";
import { tableHtml } from "./html.js";
import type { NightResult } from "./night-result.js";
import { sunPhaseOf, sunPhases } from "./sun-bands.js";
import { numberWords } from "./words.js";

const minuteMs = 60_000;
const stepsMin = [5, 10, 15, 30, 60, 120, 240, 720, 1440];

interface Slice {
  readonly name: string;
  readonly rows: readonly number[];
}

/** The night in at most about 24 slices of time (or of subs, where the time is not known). */
function slices({ table }: NightResult): { readonly head: string; readonly slices: Slice[] } {
  const { rows, x, onClock } = chartRows(table);
  if (rows.length === 0) return { head: "", slices: [] };
  const span = x.at(-1)! - x[0]!;
  const step = onClock
    ? minuteMs * (stepsMin.find((min) => span / (min * minuteMs) <= 24) ?? 1440)
    : Math.max(1, Math.ceil(span / 24));
  const bySlice = new Map<number, number[]>();
  rows.forEach((row, i) => {
    const slice = Math.floor((x[i]! - (onClock ? 0 : 1)) / step) * step;
    const members = bySlice.get(slice);
    if (members === undefined) bySlice.set(slice, [row]);
    else members.push(row);
  });
  const name = (slice: number) =>
    onClock ? new Date(slice).toISOString().slice(0, 16).replace("T", " ") : `${slice + 1} to ${slice + step}`;
  return {
    head: onClock ? `From, UTC (${step / minuteMs} min each)` : "Subs",
    slices: [...bySlice].map(([slice, members]) => ({ name: name(slice), rows: members })),
  };
}

/**
 * What the timeline shows, as a table: medians of each slice of the night and the verdicts in it.
 * @example
 * ```ts
 * import { timelineTable, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(timelineTable(night).includes("<table"));
 * ```
 */
export function timelineTable(night: NightResult): string {
  const { table } = night;
  const { head, slices: parts } = slices(night);
  const phase = (rows: readonly number[]) =>
    sunPhases[sunPhaseOf(median(rows.map((row) => table.sunAltitudeDeg[row]!)))]?.name ?? "not known";
  return tableHtml(
    "Medians of each slice of the night, and how many subs got which verdict",
    [head, "Sky", "Target, \u00b0", "Moon, \u00b0", "Sensor, \u00b0C", "Keep", "Borderline", "Drop", "Unjudged"],
    parts.map(({ name, rows }) => [
      name,
      phase(rows),
      middle(rows, table.altitudeDeg, 0),
      middle(rows, table.moonAltitudeDeg, 0),
      middle(rows, table.sensorTempC, 1),
      ...(["keep", "borderline", "drop", "unjudged"] as const).map((verdict) => countOf(night, rows, verdict)),
    ]),
  );
}

/**
 * What the charts of the measured quantities show, as a table.
 * @example
 * ```ts
 * import { quantitiesTable, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(quantitiesTable(night).includes("<table"));
 * ```
 */
export function quantitiesTable(night: NightResult): string {
  const { table } = night;
  const { head, slices: parts } = slices(night);
  return tableHtml(
    "Medians of each slice of the night",
    [head, "Subs", "FWHM, px", "Background, ADU", "Stars found"],
    parts.map(({ name, rows }) => [
      name,
      String(rows.length),
      middle(rows, table.fwhmPx, 2),
      numberWords(Math.round(median(rows.map((row) => table.backgroundAdu[row]!)))),
      middle(rows, table.starCount, 0),
    ]),
  );
}

function middle(rows: readonly number[], column: ArrayLike<number>, digits: number): string {
  const value = median(rows.map((row) => column[row]!));
  return Number.isFinite(value) ? value.toFixed(digits) : "\u2013";
}

const countOf = ({ table }: NightResult, rows: readonly number[], verdict: Verdict) =>
  String(rows.filter((row) => table.verdict[row] === verdict).length);
