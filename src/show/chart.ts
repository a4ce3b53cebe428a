import type { Figure } from "./chart-panels.js";
import { figureSvg } from "./figure-svg.js";
import { escapeHtml } from "./html.js";
import { type Displayed, displayed } from "./notebook-display.js";
import { colourVariables, type Theme } from "./page-style.js";

/** A chart that shows itself as the result of a notebook cell, and in any page as HTML. */
export interface Chart extends Displayed {
  /** A still picture that follows light and dark; needs nothing else. */
  readonly svg: string;
  /** The picture, its note, and its numbers as a table. */
  readonly html: string;
  /** Title, note and numbers. */
  readonly text: string;
  /** The chart for plotly, colours filled in. */
  readonly figure: Pick<Figure, "data" | "layout">;
}

export interface ChartOptions {
  readonly title: string;
  /** The same numbers as a table, HTML. */
  readonly table?: string;
  /** Colours of the moving chart; light when left out. The still picture follows the reader's own. */
  readonly theme?: Theme;
  /** Width of the still picture, px; 760 when left out. */
  readonly widthPx?: number;
}

/**
 * Makes a figure something that can be looked at: for plotly where it is there, as a still picture where it is not, in
 * words everywhere.
 * @example
 * ```ts
 * import { chart, frontier, frontierFigure, frontierTable, gradeNight } from "nightyield";
 * const { table, groups } = gradeNight(measured);
 * const cuts = frontier(table, groups[0])!;
 * chart(frontierFigure(cuts)!, { title: "Other cuts", table: frontierTable(cuts) });
 * ```
 */
export function chart(figure: Figure, { title, table = "", theme = "light", widthPx = 760 }: ChartOptions): Chart {
  const about = `${title}. ${figure.note}`.trim();
  const svg = figureSvg(
    figure,
    `svg{color-scheme:light dark;${colourVariables("light")}}@media (prefers-color-scheme:dark){svg{${colourVariables("dark")}}}`,
    about,
    widthPx,
  );
  const source = `data:image/svg+xml;base64,${Buffer.from(svg, "utf8").toString("base64")}`;
  const html = `<figure style="margin:0"><figcaption><b>${escapeHtml(title)}</b>${figure.note === "" ? "" : `<br><span style="font-size:.9em">${escapeHtml(figure.note)}</span>`}</figcaption><img src="${source}" alt="${escapeHtml(about)}" style="max-width:100%;height:auto">${
    table === "" ? "" : `<details><summary>The same as a table</summary>${table}</details>`
  }</figure>`;
  const text = [title, figure.note, tableText(table)].filter(Boolean).join("\n");
  const coloured = inColours(figure, theme);
  return displayed({ svg, html, text, figure: coloured }, () => ({
    "application/vnd.plotly.v1+json": { ...coloured, config: { responsive: true, displayModeBar: false } },
    "text/html": html,
    "text/plain": text,
  }));
}

/** A figure with its CSS variables replaced, for where there is no page that defines them. */
export function inColours(figure: Figure, theme: Theme): Pick<Figure, "data" | "layout"> {
  const values = new Map(
    colourVariables(theme)
      .split(";")
      .map((line) => line.split(":").map((part) => part.trim()) as [string, string]),
  );
  const filled = (value: unknown): unknown => {
    if (typeof value === "string")
      return value.startsWith("var(--") ? (values.get(value.slice(4, -1)) ?? value) : value;
    if (Array.isArray(value)) return value.map(filled);
    if (typeof value !== "object" || value === null) return value;
    return Object.fromEntries(Object.entries(value).map(([key, part]) => [key, filled(part)]));
  };
  const [ink, soft, grid, paper] = ["--ink", "--soft", "--grid", "--paper"].map((name) => values.get(name));
  const layout = filled(figure.layout) as Record<string, unknown>;
  for (const key of Object.keys(layout))
    if (/^[xy]axis/.test(key))
      layout[key] = { gridcolor: grid, tickfont: { color: soft }, ...(layout[key] as Record<string, unknown>) };
  return {
    data: filled(figure.data) as Figure["data"],
    layout: { ...layout, paper_bgcolor: paper, plot_bgcolor: paper, font: { color: ink, size: 12 } },
  };
}

/** A table of {@link tableHtml} as lines of text, columns aligned. */
export function tableText(html: string): string {
  const plain = (cell: string) =>
    cell
      .replace(/<[^>]*>/g, "")
      .replace(/&#(\d+);/g, (_, code: string) => String.fromCharCode(Number(code)))
      .trim();
  const tables = html.split("<table>").slice(1);
  return tables
    .map((table) => {
      const rows = [...table.matchAll(/<tr>(.*?)<\/tr>/gs)].map(([, row]) =>
        [...row!.matchAll(/<t[hd][^>]*>(.*?)<\/t[hd]>/gs)].map(([, cell]) => plain(cell!)),
      );
      const widths = (rows[0] ?? []).map((_, c) => Math.max(...rows.map((row) => row[c]?.length ?? 0)));
      return rows
        .map((row) =>
          row
            .map((cell, c) => (c === 0 ? cell.padEnd(widths[c]!) : cell.padStart(widths[c]!)))
            .join("  ")
            .trimEnd(),
        )
        .join("\n");
    })
    .join("\n\n");
}
