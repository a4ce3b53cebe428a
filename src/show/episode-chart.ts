import type { Episode } from "../explain/episodes.js";
import { type CauseCode, causeCodes, causeRegistry } from "../terms/causes.js";
import { causeLooks } from "./cause-look.js";
import { chartLabel, type Figure, type Panel } from "./chart-panels.js";
import { type ChartRows, chartRows, pauses, startMs } from "./chart-rows.js";
import { onAxis } from "./clock-axis.js";
import { tableHtml } from "./html.js";
import type { NightResult } from "./night-result.js";
import { countWords, durationWords, percentWords } from "./words.js";

type Plain = Readonly<Record<string, unknown>>;

/** More bars than this are slow to draw and cannot be told apart; the costliest are kept. */
const mostBars = 120;
const [barTop, barBottom] = [-0.16, 0.2];

interface Bar {
  readonly episode: Episode;
  readonly from: number;
  readonly to: number;
}

/**
 * What spoiled the night, as bars along the clock: one lane a cause, each with its own hatching. Null: nothing did.
 * @example
 * ```ts
 * import { episodesFigure, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(episodesFigure(night)?.data.length);
 * ```
 */
export function episodesFigure(night: NightResult): Figure | null {
  const all = chartRows(night.table);
  const panel = episodesPanel(night, all);
  return panel === null ? null : onAxis([panel], all, episodesNote(night, all));
}

/** The same as a panel below others that share the clock. */
export function episodesPanel(night: NightResult, all: ChartRows): Panel | null {
  const { bars } = barsOf(night, all);
  if (bars.length === 0) return null;
  const causes = causeCodes.filter((cause) => bars.some(({ episode }) => episode.cause === cause));
  // Of the axis as it is drawn, without the pauses that are cut out.
  const cut = pauses(all).reduce((sum, [from, to]) => sum + to - from, 0);
  const least = (all.x.at(-1)! - all.x[0]! - cut) * 0.006;
  return {
    title: "What most likely spoiled subs",
    heightPx: 12 + 31 * causes.length,
    axis: { range: [causes.length - 0.5, -0.72], showgrid: false, showticklabels: false, fixedrange: true },
    traces: bars.map((bar) => barTrace(bar, causes.indexOf(bar.episode.cause), least)),
    texts: (yref) => causes.map((cause, lane) => laneLabel(cause, bars, lane, yref)),
  };
}

/** What is left out of the chart; empty when nothing is. */
export function episodesNote(night: NightResult, all: ChartRows): string {
  const { left } = barsOf(night, all);
  return left === 0 ? "" : `The ${mostBars} costliest episodes are drawn; the table has the other ${left} too.`;
}

/** Stretches on the chart's axis; episodes of files without a time have none. */
function barsOf({ table, explanation }: NightResult, { rows, x, onClock }: ChartRows): { bars: Bar[]; left: number } {
  const place = new Map(rows.map((row, i) => [row, x[i]!]));
  const bars = explanation.episodes.flatMap((episode): Bar[] => {
    const places = episode.rows.flatMap((row) => place.get(row) ?? []);
    if (places.length === 0) return [];
    const last = episode.rows.at(-1)!;
    const from = onClock ? startMs(episode.startUtc) : Math.min(...places) - 0.5;
    const to = onClock
      ? startMs(table.startUtc[last]!) + 1000 * (table.exposureS[last] || 0)
      : Math.max(...places) + 0.5;
    return Number.isFinite(from) && Number.isFinite(to) ? [{ episode, from, to }] : [];
  });
  const shown = new Set([...bars].sort((a, b) => b.episode.costS - a.episode.costS).slice(0, mostBars));
  return { bars: bars.filter((bar) => shown.has(bar)), left: bars.length - shown.size };
}

function barTrace({ episode, from, to }: Bar, lane: number, least: number): Plain {
  const { pattern, solidity, colour } = causeLooks[episode.cause];
  // A single short sub would be too thin to see.
  const spare = Math.max(0, least - (to - from)) / 2;
  const [left, right] = [from - spare, to + spare];
  return {
    type: "scatter",
    mode: "lines",
    name: causeRegistry[episode.cause].short,
    x: [left, right, right, left, left],
    y: [lane + barTop, lane + barTop, lane + barBottom, lane + barBottom, lane + barTop],
    fill: "toself",
    fillcolor: "var(--bar)",
    fillpattern: {
      shape: pattern === "" ? "/" : pattern,
      size: 6,
      solidity,
      fgcolor: colour,
      bgcolor: "var(--bar)",
    },
    line: { width: 1.5, color: colour },
    hoveron: "fills",
    hoverinfo: "text",
    text: episodeWords(episode).join("<br>"),
  };
}

function laneLabel(cause: CauseCode, bars: readonly Bar[], lane: number, yref: string): Plain {
  const own = bars.filter(({ episode }) => episode.cause === cause);
  const sum = (of: (episode: Episode) => number) => own.reduce((total, { episode }) => total + of(episode), 0);
  const subs = sum(({ rows }) => rows.length);
  const words = `${causeRegistry[cause].short}: ${countWords(subs, "sub")}, ${sum(({ dropped }) => dropped)} dropped`;
  return { ...chartLabel(words), xref: "paper", x: 0, yref, y: lane + barTop - 0.06, yanchor: "bottom" };
}

/** "cloud, 20:42 to 21:30 UTC", and what it did. */
function episodeWords({ cause, startUtc, endUtc, rows, dropped, costS, probability }: Episode): string[] {
  const { sign } = causeLooks[cause];
  return [
    `<b>${sign} ${causeRegistry[cause].short}</b>, ${startUtc === "" ? "time not known" : `${startUtc.slice(11, 16)} to ${endUtc.slice(11, 16)} UTC`}`,
    `${countWords(rows.length, "sub")}, ${dropped} dropped, ${durationWords(costS)} of effective exposure lost`,
    `${percentWords(probability)} likely`,
  ];
}

/**
 * Every episode as a table, in time.
 * @example
 * ```ts
 * import { episodesTable, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(episodesTable(night).includes("<table"));
 * ```
 */
export function episodesTable({ explanation }: NightResult): string {
  return tableHtml(
    "What most likely spoiled subs, in time",
    ["From, UTC", "To, UTC", "Cause", "How likely", "Subs", "Dropped", "Effective exposure lost"],
    explanation.episodes.map(({ cause, startUtc, endUtc, rows, dropped, costS, probability }) => [
      startUtc === "" ? "\u2013" : startUtc.slice(0, 16).replace("T", " "),
      endUtc === "" ? "\u2013" : endUtc.slice(0, 16).replace("T", " "),
      causeRegistry[cause].short,
      percentWords(probability),
      String(rows.length),
      String(dropped),
      durationWords(costS),
    ]),
  );
}
