import { type Chart, chart } from "../show/chart.js";
import { drawn as rounded, stacked } from "../show/chart-panels.js";
import { tableHtml } from "../show/html.js";
import { verdictLooks } from "../show/verdict-look.js";
import { numberWords } from "../show/words.js";
import { CallError } from "../terms/errors.js";
import type { Row } from "./plain-table.js";

/** What is drawn of the rows of a table. */
export interface PointsOptions {
  /** Heading of the numbers along the level axis. */
  readonly x: string;
  /** Heading of the numbers along the upright axis. */
  readonly y: string;
  /** Heading of what tells the series apart, at most four. */
  readonly by?: string;
  /** Joins the points of a series in the order of the rows. */
  readonly joined?: boolean;
  /** A line on which both numbers are equal. */
  readonly equal?: boolean;
  readonly title?: string;
}

/** Colours and shapes of the series, so that they stay apart in grey. */
const looks = Object.values(verdictLooks);
/** More rows are in the table that the rows came from. */
const mostTableRows = 200;

/** One number of each row against another. Null where no row has both. */
export function pointsChart(rows: readonly Row[], options: PointsOptions): Chart | null {
  const { x, y, by, joined = false, equal = false, title = `${y} against ${x}` } = options;
  const numberOf = (row: Row, name: string) => (typeof row[name] === "number" ? (row[name] as number) : Number.NaN);
  const usable = rows.filter((row) => Number.isFinite(numberOf(row, x)) && Number.isFinite(numberOf(row, y)));
  for (const name of [x, y])
    if (rows.length > 0 && !rows.some((row) => name in row))
      throw new CallError(`The rows have no ${name}; they have ${Object.keys(rows[0]).join(", ")}`);
  if (usable.length === 0) return null;
  const nameOf = (row: Row) => (by === undefined ? "" : String(row[by] ?? ""));
  const names = [...new Set(usable.map(nameOf))];
  if (names.length > looks.length)
    throw new CallError(
      `${by} has ${names.length} values; a chart tells ${looks.length} apart. Filter the rows, or leave 'by' out`,
    );
  const series = names.map((name, i) => {
    const own = usable.filter((row) => nameOf(row) === name);
    const { colour, symbol } = looks[i];
    return {
      type: "scatter",
      mode: joined ? "lines+markers" : "markers",
      name,
      x: own.map((row) => rounded(numberOf(row, x))),
      y: own.map((row) => rounded(numberOf(row, y))),
      line: { color: colour, width: 1.5 },
      marker: { color: colour, symbol, size: 7 },
    };
  });
  const all = usable.flatMap((row) => [numberOf(row, x), numberOf(row, y)]);
  const [low, high] = all.reduce(([a, b], v) => [Math.min(a, v), Math.max(b, v)], [all[0], all[0]]);
  const line = {
    type: "scatter",
    mode: "lines",
    x: [low, high],
    y: [low, high],
    hoverinfo: "skip",
    showlegend: false,
    line: { color: "var(--soft)", width: 1, dash: "dot" },
  };
  const note = [
    ...(names.length > 1 ? [names.map((name, i) => `${looks[i].sign} ${name || "not known"}`).join(", ")] : []),
    ...(equal ? ["Dotted: both are equal."] : []),
  ].join(". ");
  const figure = stacked(
    [
      {
        title: title.includes(y) ? title : `${title} (${y})`,
        heightPx: 240,
        axis: {},
        traces: equal ? [line, ...series] : series,
      },
    ],
    { title: { text: x } },
    note,
  );
  const head = [...(by === undefined ? [] : [by]), x, y];
  const cells = usable
    .slice(0, mostTableRows)
    .map((row) =>
      head.map((name) => (typeof row[name] === "number" ? numberWords(row[name]) : String(row[name] ?? ""))),
    );
  // Over the title where the window is narrow, beside it where it is wide.
  const legend = { orientation: "h", x: 1, xanchor: "right", y: 1, yanchor: "bottom" };
  const shown = names.length > 1 ? { ...figure, layout: { ...figure.layout, showlegend: true, legend } } : figure;
  return chart(shown, { title, table: tableHtml(title, head, cells) });
}
