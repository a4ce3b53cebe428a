import type { Figure } from "./chart-panels.js";
import { escapeHtml, proseHtml } from "./html.js";

/** A chart of the report with all that a reader needs to it. */
export interface PageChart {
  /** Names it in the page. */
  readonly id: string;
  readonly title: string;
  /** What it shows, in a sentence or two. */
  readonly about: string;
  readonly figure: Figure;
  /** The same figures as text, HTML. */
  readonly table: string;
  /** HTML: what signs mean. */
  readonly legend?: string;
  /** Charts along the clock show the same stretch when one of them is looked into. */
  readonly onClock?: boolean;
  /** HTML that follows the sentence. */
  readonly extra?: string;
}

/**
 * A chart with heading, sentence and the same figures as text. Its room is kept free, so that nothing jumps when the
 * page's script draws it, which it does when the chart comes near.
 * @param level - of the heading
 */
export function chartSection(chart: PageChart, level: 2 | 3 = 2): string {
  const { id, title, about, figure, table, legend = "", onClock = false, extra = "" } = chart;
  const tag = level === 2 ? "section" : "div";
  const height = heightOf(chart);
  return `<${tag}><div class="together"><h${level}>${escapeHtml(title)}</h${level}>
<p class="soft">${proseHtml([about, figure.note].filter(Boolean).join(" "))}${extra}</p>
${legend}<div class="chart" id="${id}"${onClock ? ' data-axis="clock"' : ""} style="min-height:${height}px" role="img" aria-label="${escapeHtml(title)}: a chart; the table that follows holds the same figures."></div></div>
<details><summary>The same as a table</summary>${table}</details></${tag}>`;
}

/** Charts side by side, where the page is wide enough: in two columns of about the same height, in their order. */
export function chartColumns(charts: readonly PageChart[]): string {
  const total = charts.reduce((sum, chart) => sum + heightOf(chart) + aboutPx, 0);
  let height = 0;
  const left = charts.filter((chart, i) => {
    const middle = height + (heightOf(chart) + aboutPx) / 2;
    height += heightOf(chart) + aboutPx;
    return i === 0 || middle <= total / 2;
  });
  const column = (some: readonly PageChart[]) =>
    some.length === 0 ? "" : `<div>${some.map((chart) => chartSection(chart, 3)).join("\n")}</div>`;
  return `<div class="pairs">${column(left)}${column(charts.slice(left.length))}</div>`;
}

/** Room for heading and sentence, about. */
const aboutPx = 190;
const heightOf = ({ figure }: PageChart) => (typeof figure.layout.height === "number" ? figure.layout.height : 300);
