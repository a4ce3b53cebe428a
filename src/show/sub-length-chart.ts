import type { LongerSubs } from "../plan/longer-subs.js";
import type { LengthEnd, LengthPoint, LengthReason, SubLengthAdvice } from "../plan/sub-length.js";
import { chartLabel, type Figure, type Panel, stacked } from "./chart-panels.js";
import { tableHtml } from "./html.js";
import { intervalPanel } from "./interval-rows.js";
import { durationWords, listWords, numberWords, percentWords } from "./words.js";

type Plain = Readonly<Record<string, unknown>>;

/** What sets an end, in few words. */
const reasonNames: Readonly<Record<LengthReason, string>> = {
  "read-noise": "read noise",
  "card-space": "space on the card",
  events: "subs lost to events",
  "field-rotation": "field rotation",
  drift: "drift of the mount",
  saturation: "saturated stars",
};
const ticksS = [1, 3, 10, 30, 120, 600];

/**
 * Depth per clock time and share of subs kept against the sub length, with the range to use and the present length.
 * @example
 * ```ts
 * import { subLengthAdvice, subLengthFigure } from "nightyield";
 * const camera = { width: 3000, height: 2000, fwhmPx: 2.1, saturatedFraction: 0, readTimeS: 1.3 };
 * const night = { presentS: 30, overheadS: 2, lossPerS: 0.001, rotationBlurPx: 0.4, hoursPerNight: 6 };
 * const advice = subLengthAdvice({ ...camera, ...night, freeBytes: 64e9 });
 * console.log(subLengthFigure(advice)?.data.length);
 * ```
 */
export function subLengthFigure(advice: SubLengthAdvice): Figure | null {
  const curve = advice.curve.filter(({ efficiency }) => Number.isFinite(efficiency));
  if (curve.length < 2) return null;
  const line = (name: string, of: (point: LengthPoint) => number, color: string, dash: string): Plain => ({
    type: "scatter",
    mode: "lines+markers",
    name,
    x: curve.map(({ subS }) => subS),
    y: curve.map((point) => 100 * of(point)),
    text: curve.map((point) => pointWords(point, name, of)),
    hoverinfo: "text",
    line: { width: 2, color, dash },
    marker: { size: 4, color },
  });
  const present = (of: (point: LengthPoint) => number): Plain => ({
    type: "scatter",
    mode: "markers",
    name: "now",
    x: [advice.present.subS],
    y: [100 * of(advice.present)],
    text: [pointWords(advice.present, "now", of)],
    hoverinfo: "text",
    marker: { symbol: "diamond", size: 12, color: "var(--drop)" },
  });
  const losesSubs = curve.some(({ keepRate }) => keepRate < 0.999);
  const panels: Panel[] = [
    {
      title: "Depth per hour, % of an ideal camera",
      heightPx: 220,
      axis: { rangemode: "tozero", nticks: 6 },
      traces: [
        line("depth per clock time", ({ efficiency }) => efficiency, "var(--keep)", "solid"),
        present(({ efficiency }) => efficiency),
      ],
      shapes: (yref) => range(advice, yref, curve),
      texts: (yref) => rangeText(advice, yref, curve),
    },
  ];
  if (losesSubs)
    panels.push({
      title: "Subs that no event spoils, %",
      heightPx: 110,
      axis: { range: [0, 104], dtick: 25 },
      traces: [
        line("kept", ({ keepRate }) => keepRate, "var(--borderline)", "dash"),
        present(({ keepRate }) => keepRate),
      ],
      shapes: (yref) => range(advice, yref, curve),
    });
  const [first, last] = [curve[0]!.subS, curve.at(-1)!.subS];
  const ticks = ticksS.filter((s) => s >= first && s <= last);
  return stacked(
    panels,
    {
      type: "log",
      range: [Math.log10(first) - 0.06, Math.log10(last) + 0.06],
      tickvals: ticks,
      ticktext: ticks.map((s) => durationWords(s)),
      tickangle: 0,
      title: { text: "length of a sub", standoff: 6 },
      fixedrange: true,
    },
    `The diamond is the present length. ${endWords(advice)}`.trim(),
  );
}

function pointWords(point: LengthPoint, name: string, of: (point: LengthPoint) => number): string {
  const files = Number.isFinite(point.subsPerNight) ? `<br>${numberWords(point.subsPerNight)} files a night` : "";
  return `${durationWords(point.subS)}, ${name}: ${percentWords(of(point))}${files}`;
}

/** The range to use, shaded; a line where its ends meet. */
function range({ fromS, toS }: SubLengthAdvice, yref: string, curve: readonly LengthPoint[]): Plain[] {
  if (!(fromS > 0 || toS > 0)) return [];
  const [from, to] = [fromS > 0 ? fromS : curve[0]!.subS, toS > 0 ? toS : curve.at(-1)!.subS];
  const place = { xref: "x", yref: `${yref} domain`, x0: from, x1: to, y0: 0, y1: 1, layer: "below" };
  return [
    to > from
      ? { ...place, type: "rect", fillcolor: "var(--sun-astronomical)", line: { width: 0 } }
      : { ...place, type: "line", line: { width: 2, color: "var(--lane)" } },
  ];
}

function rangeText(advice: SubLengthAdvice, yref: string, curve: readonly LengthPoint[]): Plain[] {
  const [shape] = range(advice, yref, curve);
  if (shape === undefined) return [];
  const [from, to] = [Number(shape.x0), Number(shape.x1)];
  return [
    {
      ...chartLabel(to > from ? "range to use" : "use this", "var(--band-ink)", 11),
      xref: "x",
      x: (Math.log10(from) + Math.log10(to)) / 2,
      xanchor: "center",
      yref: `${yref} domain`,
      y: 0,
      yanchor: "bottom",
    },
  ];
}

/** What sets both ends. */
function endWords({ low, high, conflict, missing }: SubLengthAdvice): string {
  const end = (ends: readonly LengthEnd[], word: string) =>
    ends[0] === undefined
      ? ""
      : `No ${word} than ${durationWords(ends[0].subS)} because of ${reasonNames[ends[0].reason]}.`;
  const names = {
    "read-noise": "read noise",
    overhead: "pause between subs",
    rotation: "field rotation",
    events: "events",
  };
  return [
    end(low, "shorter"),
    end(high, "longer"),
    conflict ? "Both cannot be kept; the upper limit wins." : "",
    missing.length === 0 ? "" : `Not known: ${listWords(missing.map((code) => names[code]))}.`,
  ]
    .filter(Boolean)
    .join(" ");
}

/**
 * The curve as a table, with both ends and their reasons.
 * @example
 * ```ts
 * import { subLengthAdvice, subLengthTable } from "nightyield";
 * const camera = { width: 3000, height: 2000, fwhmPx: 2.1, saturatedFraction: 0, readTimeS: 1.3 };
 * const night = { presentS: 30, overheadS: 2, lossPerS: 0.001, rotationBlurPx: 0.4, hoursPerNight: 6 };
 * const advice = subLengthAdvice({ ...camera, ...night, freeBytes: 64e9 });
 * console.log(subLengthTable(advice).length);
 * ```
 */
export function subLengthTable({ curve, present, low, high }: SubLengthAdvice): string {
  const rate = (value: number) => (Number.isFinite(value) ? percentWords(value) : "\u2013");
  const table = tableHtml(
    "What each sub length would give",
    [
      "Length of a sub",
      "Depth per clock time",
      "Subs kept",
      "Noise against no read noise",
      "Corner blur, px",
      "Files a night",
    ],
    curve.map((point) => [
      `${durationWords(point.subS)}${point.subS === present.subS ? " (now)" : ""}`,
      rate(point.efficiency),
      rate(point.keepRate),
      Number.isFinite(point.noiseFactor) ? point.noiseFactor.toFixed(3) : "\u2013",
      Number.isFinite(point.rotationBlurPx) ? numberWords(point.rotationBlurPx) : "\u2013",
      Number.isFinite(point.subsPerNight) ? numberWords(Math.round(point.subsPerNight)) : "\u2013",
    ]),
  );
  const ends = [
    ...low.map(({ subS, reason }) => ["no shorter than", durationWords(subS), reasonNames[reason]]),
    ...high.map(({ subS, reason }) => ["no longer than", durationWords(subS), reasonNames[reason]]),
  ];
  return ends.length === 0 ? table : `${table}${tableHtml("What sets the range", ["End", "Length", "Reason"], ends)}`;
}

const sumLook = { colour: "var(--borderline)", symbol: "diamond-open" };
const nowLook = { colour: "var(--keep)", symbol: "circle" };

/**
 * The user's own subs added up as if they had been longer: share kept with its interval, and depth for the same night.
 * @example
 * ```ts
 * import { depthReached, longerSubs, longerSubsFigure, openNight } from "nightyield";
 * const { table } = await openNight("nightyield-out/march14");
 * const results = longerSubs(table, depthReached(table)[0].rows, [2, 3], { readNoiseAdu: 1.3 });
 * console.log(longerSubsFigure(results)?.data.length);
 * ```
 */
export function longerSubsFigure(results: readonly LongerSubs[]): Figure | null {
  if (results.length < 2) return null;
  const name = ({ times, exposureS, kept, subs }: LongerSubs) =>
    `${durationWords(exposureS)}${times === 1 ? ", as they are" : `, ${times} added`}: ${kept} of ${subs}`;
  const rows = results.map((one) => ({
    label: name(one),
    value: one.keepRate,
    low: one.keepInterval.low,
    high: one.keepInterval.high,
    look: one.times === 1 ? nowLook : sumLook,
    hover: [
      name(one),
      `${percentWords(one.keepRate)} kept (90 %: ${percentWords(one.keepInterval.low)} to ${percentWords(one.keepInterval.high)})`,
    ],
  }));
  const least = Math.min(
    0.5,
    ...results.map(({ keepInterval, snrInterval }) => Math.min(keepInterval.low, snrInterval.low)),
  );
  const most = Math.max(1.05, ...results.map(({ snrInterval }) => snrInterval.high * 1.02));
  const from = Math.floor(least * 10) / 10;
  const depths = results.map((one) => ({
    label: `${durationWords(one.exposureS)}: ${percentWords(one.snrPerClock)} of now`,
    value: one.snrPerClock,
    ...one.snrInterval,
    look: one.times === 1 ? nowLook : sumLook,
    hover: [
      `${durationWords(one.exposureS)}: ${percentWords(one.snrPerClock)} of the present depth for the same night (90 %: ${percentWords(one.snrInterval.low)} to ${percentWords(one.snrInterval.high)})`,
    ],
  }));
  const ticks = [0, 0.25, 0.5, 0.75, 1, 1.25, 1.5].filter((value) => value >= from && value <= most);
  return stacked(
    [
      intervalPanel("Subs kept, with 90 % intervals", rows, [from, most]),
      intervalPanel("Depth of the same night\u2019s stack", depths, [from, most]),
    ],
    { range: [from, most], tickvals: ticks, ticktext: ticks.map((value) => percentWords(value)), fixedrange: true },
    "Your own subs, added up and judged anew.",
  );
}

/**
 * The same as a table.
 * @example
 * ```ts
 * import { depthReached, longerSubs, longerSubsTable, openNight } from "nightyield";
 * const { table } = await openNight("nightyield-out/march14");
 * const results = longerSubs(table, depthReached(table)[0].rows, [2, 3], { readNoiseAdu: 1.3 });
 * console.log(longerSubsTable(results).length);
 * ```
 */
export function longerSubsTable(results: readonly LongerSubs[]): string {
  return tableHtml(
    "Your own subs, added up as if they had been longer",
    [
      "Length",
      "Subs",
      "Kept",
      "Share kept",
      "From",
      "To",
      "Depth against now",
      "From",
      "To",
      "FWHM, px",
      "Files an hour",
    ],
    results.map(({ exposureS, subs, kept, keepRate, keepInterval, snrPerClock, snrInterval, fwhmPx, filesPerHour }) => [
      durationWords(exposureS),
      String(subs),
      String(kept),
      percentWords(keepRate),
      percentWords(keepInterval.low),
      percentWords(keepInterval.high),
      percentWords(snrPerClock),
      percentWords(snrInterval.low),
      percentWords(snrInterval.high),
      numberWords(fwhmPx),
      numberWords(filesPerHour),
    ]),
  );
}
