import { chartLabel, type Panel } from "./chart-panels.js";
import { chartText } from "./chart-rows.js";

/** A value with its interval, as one row of a chart. */
export interface IntervalRow {
  /** Stands above the row. */
  readonly label: string;
  readonly value: number;
  readonly low: number;
  readonly high: number;
  readonly look: { readonly colour: string; readonly symbol: string };
  /** What is said when the mark is pointed at, one line each. */
  readonly hover: readonly string[];
}

const rowPx = 36;

/**
 * Values with intervals below each other, each named above itself: no room is lost beside the chart on a phone.
 * Intervals that leave the range end in an arrow at its edge.
 * @param range - of the level axis
 */
export function intervalPanel(
  title: string,
  rows: readonly IntervalRow[],
  [least, most]: readonly [number, number],
): Panel {
  const inside = (value: number) => Math.min(most, Math.max(least, value));
  const looks = [...new Set(rows.map(({ look }) => look))];
  const beyond = (arrow: "left" | "right") =>
    rows.flatMap(({ low, high, look }, i) => ((arrow === "left" ? low < least : high > most) ? [{ i, look }] : []));
  const arrows = (["left", "right"] as const).flatMap((arrow) =>
    beyond(arrow).map(({ i, look }) => ({
      type: "scatter",
      mode: "markers",
      name: "reaches beyond the chart",
      x: [arrow === "left" ? least : most],
      y: [i],
      hoverinfo: "skip",
      cliponaxis: false,
      marker: { symbol: `triangle-${arrow}`, size: 10, color: look.colour },
    })),
  );
  return {
    title,
    heightPx: 10 + rowPx * rows.length,
    axis: { range: [rows.length - 0.55, -0.85], showgrid: false, showticklabels: false, fixedrange: true },
    traces: [
      ...looks.map((look) => {
        const own = rows.flatMap((row, i) => (row.look === look ? [{ row, i }] : []));
        return {
          type: "scatter",
          mode: "markers",
          name: title,
          x: own.map(({ row }) => inside(row.value)),
          y: own.map(({ i }) => i),
          error_x: {
            type: "data",
            symmetric: false,
            array: own.map(({ row }) =>
              Number.isFinite(row.high - row.value) || row.high > most ? inside(row.high) - inside(row.value) : 0,
            ),
            arrayminus: own.map(({ row }) =>
              Number.isFinite(row.value - row.low) || row.low < least ? inside(row.value) - inside(row.low) : 0,
            ),
            thickness: 2,
            width: 5,
            color: look.colour,
          },
          text: own.map(({ row }) => row.hover.map(chartText).join("<br>")),
          hoverinfo: "text",
          cliponaxis: false,
          marker: {
            symbol: look.symbol,
            size: 9,
            color: look.colour,
            line: { width: look.symbol.endsWith("-open") ? 2 : 0, color: look.colour },
          },
        };
      }),
      ...arrows,
    ],
    texts: (yref) =>
      rows.map(({ label }, i) => ({
        ...chartLabel(chartText(label)),
        xref: "paper",
        x: 0,
        yref,
        y: i - 0.24,
        yanchor: "bottom",
      })),
  };
}
