import type { FilterDepth, NightYield } from "../plan/depth.js";
import { chartLabel, type Figure, type Panel, stacked } from "./chart-panels.js";
import { chartText } from "./chart-rows.js";
import { tableHtml } from "./html.js";
import { durationWords, percentWords } from "./words.js";

type Plain = Readonly<Record<string, unknown>>;

const rowPx = 20;
/** More nights than this are too many lines; the latest are drawn. */
const mostNights = 40;

/**
 * What each night brought, filter by filter: time at the telescope, exposure of the kept subs, and what that is worth under
 * the best conditions, as bars within each other. Null without nights.
 */
export function nightYieldsFigure(depths: readonly FilterDepth[]): Figure | null {
  const filters = depths.filter(({ nights }) => nights.length > 0);
  if (filters.length === 0) return null;
  const shown = filters.map(({ nights }) => nights.slice(-mostNights));
  const longestS = Math.max(60, ...shown.flat().map(({ clockS }) => clockS));
  const unit = longestS < 5400 ? { name: "minutes", s: 60 } : { name: "hours", s: 3600 };
  // Room on the right for what each night is worth.
  const most = (longestS / unit.s) * 1.44;
  const panels = filters.map((filter, i) => panelOf(filter, shown[i]!, most, unit.s));
  const left = filters.reduce((sum, { nights }, i) => sum + nights.length - shown[i]!.length, 0);
  return stacked(
    panels,
    { range: [0, most], nticks: 6, title: { text: unit.name, standoff: 6 }, fixedrange: true },
    [
      "Wide bar: time at the telescope. Bar within it: exposure of the kept subs. Line in the middle: what that is worth under the best conditions.",
      left === 0 ? "" : `The latest ${mostNights} nights are drawn; the table has the ${left} before them too.`,
    ]
      .filter(Boolean)
      .join(" "),
  );
}

function panelOf(
  { target, filter, effectiveS }: FilterDepth,
  nights: readonly NightYield[],
  most: number,
  unitS: number,
): Panel {
  const name = [target, filter].filter(Boolean).join(", ");
  const short = name.length > 28 ? `${name.slice(0, 27)}\u2026` : name;
  const bars = (title: string, of: (night: NightYield) => number, style: Plain): Plain => ({
    type: "scatter",
    mode: "lines",
    name: title,
    x: nights.flatMap((night) => [0, of(night) / unitS, null]),
    y: nights.flatMap((_, i) => [i, i, null]),
    hoverinfo: "skip",
    line: style,
  });
  const days = nights.map(({ firstMs }) => dayOf(firstMs));
  return {
    title: chartText(`${short}: ${durationWords(effectiveS)} effective`),
    heightPx: 14 + rowPx * nights.length,
    axis: {
      range: [nights.length - 0.4, -0.7],
      showgrid: false,
      fixedrange: true,
      tickvals: nights.map((_, i) => i),
      // The month stands where it changes.
      ticktext: days.map((day, i) => (days[i - 1]?.endsWith(day.split(" ")[1]!) ? day.split(" ")[0]! : day)),
      tickfont: { size: 11, color: "var(--soft)" },
    },
    traces: [
      bars("time at the telescope", ({ clockS }) => clockS, { width: 12, color: "var(--wide-bar)" }),
      bars("kept exposure", ({ keptExposureS }) => keptExposureS, { width: 7, color: "var(--lane)" }),
      bars("worth under the best conditions", ({ effectiveS: s }) => s, { width: 3, color: "var(--keep)" }),
      {
        type: "scatter",
        mode: "markers",
        name: "night",
        x: nights.map(({ clockS }) => clockS / (2 * unitS)),
        y: nights.map((_, i) => i),
        text: nights.map((night) => nightWords(night).map(chartText).join("<br>")),
        hoverinfo: "text",
        marker: { size: 14, opacity: 0, color: "var(--soft)" },
      },
    ],
    texts: (yref) =>
      nights.map(({ effectiveS: s, clockS }, i) => ({
        ...chartLabel(`${durationWords(s)}, ${percentWords(s / clockS)}`, "var(--soft)", 11),
        xref: "x",
        x: most,
        xanchor: "right",
        yref,
        y: i,
        yanchor: "middle",
      })),
  };
}

const monthNames = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");
/** The date of the first sub, UTC. */
function dayOf(firstMs: number): string {
  const date = new Date(firstMs);
  return Number.isNaN(firstMs) ? "?" : `${date.getUTCDate()} ${monthNames[date.getUTCMonth()]}`;
}

function nightWords(night: NightYield): string[] {
  const { firstMs, subs, kept, keptExposureS, effectiveS, clockS, altitudeDeg } = night;
  return [
    `Night that began ${Number.isNaN(firstMs) ? "at an unknown time" : `${new Date(firstMs).toISOString().slice(0, 16).replace("T", " ")} UTC`}`,
    `${kept} of ${subs} subs kept, ${durationWords(keptExposureS)}`,
    `worth ${durationWords(effectiveS)}: ${percentWords(effectiveS / clockS)} of ${durationWords(clockS)} at the telescope`,
    Number.isFinite(altitudeDeg) ? `target ${Math.round(altitudeDeg)}\u00b0 high` : "",
  ].filter(Boolean);
}

/** The same nights as a table. */
export function nightYieldsTable(depths: readonly FilterDepth[]): string {
  return tableHtml(
    "What each night brought, by target and filter",
    [
      "Target and filter",
      "First sub, UTC",
      "Subs",
      "Kept",
      "Kept exposure",
      "Worth",
      "At the telescope",
      "Yield",
      "Altitude",
    ],
    depths.flatMap(({ target, filter, nights }) =>
      nights.map(({ firstMs, subs, kept, keptExposureS, effectiveS, clockS, altitudeDeg }) => [
        [target, filter].filter(Boolean).join(", "),
        Number.isNaN(firstMs) ? "\u2013" : new Date(firstMs).toISOString().slice(0, 16).replace("T", " "),
        String(subs),
        String(kept),
        durationWords(keptExposureS),
        durationWords(effectiveS),
        durationWords(clockS),
        percentWords(effectiveS / clockS),
        Number.isFinite(altitudeDeg) ? `${Math.round(altitudeDeg)}\u00b0` : "\u2013",
      ]),
    ),
  );
}
