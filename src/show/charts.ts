import { quantile } from "../numbers/quantiles.js";
import { type FrameTable, frameRow, type NumberColumnName } from "../terms/frame-table.js";
import { verdicts } from "../terms/verdicts.js";
import { chartLabel, drawn, type Figure, type Panel } from "./chart-panels.js";
import { type ChartRows, chartRows, chartText, hoverText, pauseMs, pauses, thinned } from "./chart-rows.js";
import { onAxis } from "./clock-axis.js";
import { episodesNote, episodesPanel } from "./episode-chart.js";
import type { NightResult } from "./night-result.js";
import { sunBands, sunPhases } from "./sun-bands.js";
import { verdictLooks } from "./verdict-look.js";
import { durationWords } from "./words.js";

type Plain = Readonly<Record<string, unknown>>;

export type { Figure } from "./chart-panels.js";

/**
 * The night along the clock: altitude of target and Moon over the Sun's phases, what was photographed when, the sensor's
 * temperature; each sub's verdict by colour and shape.
 * @returns null when there is no light frame
 * @example
 * ```ts
 * import { timelineFigure, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(timelineFigure(night)?.data.length);
 * ```
 */
export function timelineFigure(night: NightResult): Figure | null {
  const { table } = night;
  const all = chartRows(table);
  if (all.rows.length === 0) return null;
  const { chart, note } = thinned(all, table);
  const placed = measured(table, chart, "altitudeDeg");
  const panels: Panel[] = [];
  if (placed)
    panels.push({
      title: "Altitude of the target in \u00b0, and verdicts",
      heightPx: 230,
      axis: { range: [0, 90], dtick: 30 },
      traces: [
        line(table, chart, "moonAltitudeDeg", { dash: "dot", width: 2, color: "var(--moon)" }, (v) => v >= 0),
        line(table, chart, "altitudeDeg", { width: 1, color: "var(--soft)" }),
        ...verdictTraces(night, chart, (row) => table.altitudeDeg[row]!),
      ],
      ...bandMarks(sunBands(table, all), all),
    });
  const lanes = laneNames(table, all);
  if (lanes.size > 0)
    panels.push({
      title: "What was photographed",
      heightPx: 12 + 30 * lanes.size,
      axis: { range: [lanes.size - 0.35, -0.75], showgrid: false, showticklabels: false, fixedrange: true },
      traces: [
        laneTrace(table, all, lanes),
        ...(placed ? [] : verdictTraces(night, chart, (row) => lanes.get(laneOf(table, row))!)),
      ],
      texts: (yref) =>
        [...lanes].map(([name, lane]) => ({
          ...chartLabel(chartText(name.length > 44 ? `${name.slice(0, 43)}\u2026` : name)),
          xref: "paper",
          x: 0,
          yref,
          y: lane - 0.12,
          yanchor: "bottom",
        })),
    });
  if (measured(table, chart, "sensorTempC"))
    panels.push({
      title: "Sensor, \u00b0C",
      heightPx: 80,
      axis: { range: padded(table, chart, "sensorTempC", 2), nticks: 4 },
      traces: [line(table, chart, "sensorTempC", { width: 2, color: "var(--ink)" })],
    });
  const episodes = episodesPanel(night, all);
  if (episodes !== null) panels.push(episodes);
  return onAxis(panels, all, [note, episodesNote(night, all)].filter(Boolean).join(" "));
}

/**
 * The measured quantities along the same axis: star width, background and number of stars of each sub.
 * @example
 * ```ts
 * import { quantitiesFigure, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(quantitiesFigure(night)?.data.length);
 * ```
 */
export function quantitiesFigure(night: NightResult): Figure | null {
  const { table } = night;
  const all = chartRows(table);
  const { chart, note } = thinned(all, table);
  const quantities = [
    { title: "Width of the stars (FWHM), px", column: "fwhmPx" },
    { title: "Background, ADU", column: "backgroundAdu" },
    { title: "Stars found", column: "starCount" },
  ] as const;
  const panels = quantities
    .filter(({ column }) => measured(table, chart, column))
    .map(({ title, column }) => {
      const values = chart.rows.map((row) => table[column][row]!);
      // A few frames full of twilight would press all others flat.
      const wide =
        column === "backgroundAdu" && quantile(values, 1) > 6 * quantile(values, 0.5) && quantile(values, 0) > 0;
      return {
        title: wide ? `${title}, logarithmic` : title,
        heightPx: 150,
        axis: wide
          ? { type: "log", nticks: 5 }
          : { rangemode: column === "starCount" ? "tozero" : "normal", nticks: 5 },
        traces: verdictTraces(night, chart, (row) => table[column][row]!),
      };
    });
  return panels.length === 0 ? null : onAxis(panels, all, note);
}

/** One trace a verdict, the ones that matter most on top. */
function verdictTraces(night: NightResult, { rows, x }: ChartRows, heightOf: (row: number) => number): Plain[] {
  const { table, symptomsOfRow } = night;
  const size = rows.length > 600 ? 4 : rows.length > 150 ? 6 : 7;
  return verdicts.flatMap((verdict) => {
    const members = rows.flatMap((row, i) => (table.verdict[row] === verdict ? [i] : []));
    if (members.length === 0) return [];
    const { colour, symbol } = verdictLooks[verdict];
    return [
      {
        type: "scatter",
        mode: "markers",
        name: verdict,
        x: members.map((i) => x[i]),
        y: members.map((i) => drawn(heightOf(rows[i]!))),
        text: members.map((i) => hoverText(table, rows[i]!, symptomsOfRow[rows[i]!]!)),
        hoverinfo: "text",
        marker: {
          color: colour,
          symbol,
          size: verdict === "keep" ? size : size + 2,
          opacity: verdict === "keep" ? 0.8 : 1,
          line: { width: symbol.endsWith("-open") ? 2 : 0, color: colour },
        },
      },
    ];
  });
}

/** A line that breaks where a value is missing or not wanted, where the target changes, and at pauses. */
function line(
  table: FrameTable,
  { rows, x, onClock }: ChartRows,
  column: NumberColumnName,
  style: Plain,
  wanted: (value: number) => boolean = () => true,
): Plain {
  const [xs, ys]: [number[], (number | null)[]] = [[], []];
  rows.forEach((row, i) => {
    const before = rows[i - 1];
    if (
      before !== undefined &&
      ((onClock && x[i]! - x[i - 1]! > pauseMs) || table.target[before] !== table.target[row])
    ) {
      xs.push(x[i]!);
      ys.push(null);
    }
    const value = table[column][row]!;
    xs.push(x[i]!);
    ys.push(wanted(value) ? drawn(value) : null);
  });
  return { type: "scatter", mode: "lines", x: xs, y: ys, hoverinfo: "skip", line: style };
}

const laneOf = (table: FrameTable, row: number): string => {
  const { target, filter, exposureS } = frameRow(table, row);
  return [target, filter, Number.isFinite(exposureS) ? `${durationWords(exposureS)} subs` : ""]
    .filter(Boolean)
    .join(", ");
};

/** One lane for each target, filter and exposure; none when there would be too many to read. */
function laneNames(table: FrameTable, { rows }: ChartRows): Map<string, number> {
  const lanes = new Map<string, number>();
  for (const row of rows) {
    const name = laneOf(table, row);
    if (!lanes.has(name)) lanes.set(name, lanes.size);
    if (lanes.size > 8) return new Map();
  }
  return lanes;
}

/** Bars from the first to the last sub of each unbroken run. */
function laneTrace(table: FrameTable, { rows, x, onClock }: ChartRows, lanes: ReadonlyMap<string, number>): Plain {
  const [xs, ys]: [number[], (number | null)[]] = [[], []];
  for (let from = 0; from < rows.length; ) {
    const lane = lanes.get(laneOf(table, rows[from]!))!;
    let to = from;
    while (
      to + 1 < rows.length &&
      lanes.get(laneOf(table, rows[to + 1]!)) === lane &&
      (!onClock || x[to + 1]! - x[to]! < Math.max(600_000, 5000 * (table.exposureS[rows[to]!] || 0)))
    )
      to++;
    const lengthMs = onClock ? 1000 * (table.exposureS[rows[to]!] || 0) : 0.8;
    xs.push(x[from]!, x[to]! + lengthMs, x[to]! + lengthMs);
    ys.push(lane, lane, null);
    from = to + 1;
  }
  return { type: "scatter", mode: "lines", x: xs, y: ys, hoverinfo: "skip", line: { width: 6, color: "var(--lane)" } };
}

/** Shaded stretches behind the altitude, named where there is room. */
function bandMarks(bands: ReturnType<typeof sunBands>, { x }: ChartRows): Pick<Panel, "texts" | "shapes"> {
  const spanMs = x.at(-1)! - x[0]! - pauses({ rows: [], x, onClock: true }).reduce((sum, [a, b]) => sum + b - a, 0);
  return {
    shapes: (axis) =>
      bands.map(({ phase, from, to }) => ({
        type: "rect",
        xref: "x",
        yref: `${axis} domain`,
        x0: from,
        x1: to,
        y0: 0,
        y1: 1,
        layer: "below",
        line: { width: 0 },
        fillcolor: sunPhases[phase]!.colour,
      })),
    texts: (axis) =>
      bands
        .filter(({ from, to }) => to - from > 0.05 * spanMs)
        .map(({ phase, from, to }) => ({
          ...chartLabel(sunPhases[phase]!.name, "var(--band-ink)", 11),
          textangle: to - from > 0.25 * spanMs ? 0 : -90,
          xref: "x",
          x: from,
          yref: `${axis} domain`,
          y: 0,
          yanchor: "bottom",
          xshift: 2,
        })),
  };
}

const measured = (table: FrameTable, { rows }: ChartRows, column: NumberColumnName) =>
  rows.some((row) => Number.isFinite(table[column][row]));
/** An axis that spans the values and at least `least` units, so that a steady value does not look restless. */
function padded(table: FrameTable, { rows }: ChartRows, column: NumberColumnName, least: number): [number, number] {
  const values = rows.map((row) => table[column][row]!);
  const [low, high] = [quantile(values, 0), quantile(values, 1)];
  const pad = Math.max((least - (high - low)) / 2, (high - low) * 0.1);
  return [Math.floor(10 * (low - pad)) / 10, Math.ceil(10 * (high + pad)) / 10];
}
