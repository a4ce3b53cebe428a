import type { Drivers } from "../explain/drivers-terms.js";
import type { Frontier } from "../grade/frontier.js";
import type { FilterDepth } from "../plan/depth.js";
import type { LongerSubs } from "../plan/longer-subs.js";
import type { SubLengthAdvice } from "../plan/sub-length.js";
import type { NightWindow } from "../plan/windows.js";
import { type CalendarOptions, calendarFigure, calendarTable } from "../show/calendar-chart.js";
import { type Chart, chart } from "../show/chart.js";
import { quantitiesTable, timelineTable } from "../show/chart-tables.js";
import { type Figure, quantitiesFigure, timelineFigure } from "../show/charts.js";
import { effectsFigure, effectsTable, rejectRatesFigure, rejectRatesTable } from "../show/driver-charts.js";
import { episodesFigure, episodesTable } from "../show/episode-chart.js";
import { frontierFigure, frontierTable } from "../show/frontier-chart.js";
import type { NightResult } from "../show/night-result.js";
import { displayed } from "../show/notebook-display.js";
import { longerSubsFigure, longerSubsTable, subLengthFigure, subLengthTable } from "../show/sub-length-chart.js";
import { nightYieldsFigure, nightYieldsTable } from "../show/yield-chart.js";
import type { Row } from "./plain-table.js";
import { type PointsOptions, pointsChart } from "./points-chart.js";
import { printed } from "./printed.js";

/**
 * Charts of what the library gives. As the last value of a notebook cell each is drawn; printed, it is its numbers. Where
 * there is nothing to draw, it says so.
 * @example
 * ```ts
 * import { charts, openNight } from "nightyield";
 * charts.timeline(await openNight("nightyield-out/march14"));
 * ```
 */
export const charts = {
  /** The night along the clock: altitude of target and Moon, verdicts, sensor temperature. */
  timeline: (night: NightResult, title = "The night") =>
    drawn(title, timelineFigure(night), () => timelineTable(night), "there is no light frame"),
  /** Star width, transparency, background and star count of each sub along the clock. */
  quantities: (night: NightResult, title = "What was measured") =>
    drawn(title, quantitiesFigure(night), () => quantitiesTable(night), "there is no light frame"),
  /** What spoiled subs when. */
  episodes: (night: NightResult, title = "What spoiled the subs") =>
    drawn(title, episodesFigure(night), () => episodesTable(night), "nothing spoiled a sub"),
  /** What quality goes with, with the intervals. */
  effects: (drivers: Drivers, title = "What quality goes with") =>
    drawn(title, effectsFigure(drivers), () => effectsTable(drivers), "nothing was tested"),
  /** Rejects by filter and altitude. */
  rejectRates: (drivers: Drivers, title = "Rejects") =>
    drawn(title, rejectRatesFigure(drivers), () => rejectRatesTable(drivers), "there are too few subs"),
  /** Depth of the stack against the width of its stars, for every cut. */
  frontier: (cuts: Frontier | null, title = "What other cuts would gain and lose") =>
    drawn(title, cuts && frontierFigure(cuts), () => frontierTable(cuts!), "nothing is kept, or too little is known"),
  /** What each night brought: time at the telescope, exposure of the kept subs, what that is worth. By {@link depthReached}. */
  nights: (depths: readonly FilterDepth[], title = "What each night brought") =>
    drawn(title, nightYieldsFigure(depths), () => nightYieldsTable(depths), "there are no nights to show"),
  /** Depth per clock time against the length of a sub, with the range to use. */
  subLength: (advice: SubLengthAdvice, title = "How long a sub should be") =>
    drawn(title, subLengthFigure(advice), () => subLengthTable(advice), "too little is known"),
  /** The subs themselves, re-added as longer ones. */
  longerSubs: (results: readonly LongerSubs[], title = "Tried on the subs themselves") =>
    drawn(title, longerSubsFigure(results), () => longerSubsTable(results), "too few subs follow one another"),
  /** The coming nights: darkness, altitude, Moon, and the stretch to choose. */
  calendar: (
    windows: readonly NightWindow[],
    { title = "The coming nights", ...options }: CalendarOptions & { readonly title?: string } = {},
  ) =>
    drawn(
      title,
      calendarFigure(windows, options),
      () => calendarTable(windows, options),
      "there are no nights to show",
    ),
  /**
   * One number of each row against another, for rows of your own: `charts.points(frames.filter(...), { x: "altitudeDeg", y: "fwhmPx", by: "filter" })`.
   */
  points: (rows: Iterable<Row>, options: PointsOptions) =>
    printed(pointsChart([...rows], options) ?? nothingDrawn(options.title ?? options.y, "no row has both numbers")),
} as const;

function drawn(title: string, figure: Figure | null, table: () => string, nothing: string): Chart {
  if (figure !== null) return printed(chart(figure, { title, table: table() }));
  return nothingDrawn(title, nothing);
}

function nothingDrawn(title: string, nothing: string): Chart {
  const text = `${title}: nothing to draw, ${nothing}`;
  return printed(
    displayed({ svg: "", html: "", text, figure: { data: [], layout: {} } }, () => ({ "text/plain": text })),
  );
}
