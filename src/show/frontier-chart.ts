import type { Cut, Frontier, StackOutcome } from "../grade/frontier.js";
import { type Figure, stacked } from "./chart-panels.js";
import { tableHtml } from "./html.js";
import { durationWords, numberWords } from "./words.js";

const percent = (ratio: number) => 100 * ratio;

/**
 * What other cuts would gain and lose: the depth of the stack against the width of its stars, from only the best subs to
 * all of them. The cut that the verdicts make is marked.
 * @example
 * ```ts
 * import { frontierFigure, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * for (const found of night.frontiers) console.log(found && frontierFigure(found)?.data.length);
 * ```
 */
export function frontierFigure({ cuts, kept, all }: Frontier): Figure | null {
  const inArcsec = [kept, all, ...cuts].every(({ fwhmArcsec }) => Number.isFinite(fwhmArcsec));
  const widthOf = ({ fwhmArcsec, fwhmPx }: StackOutcome) => (inArcsec ? fwhmArcsec : fwhmPx);
  const usable = cuts.filter((cut) => Number.isFinite(widthOf(cut)) && Number.isFinite(cut.depth));
  if (usable.length < 2) return null;
  const mark = (
    outcome: StackOutcome,
    name: string,
    look: { symbol: string; colour: string; size: number },
    side: string,
  ) => ({
    type: "scatter",
    mode: "markers+text",
    name,
    x: [widthOf(outcome)],
    y: [percent(outcome.depth)],
    text: [name],
    textposition: side,
    textfont: { color: "var(--ink)" },
    hovertext: [outcomeWords(outcome, name, inArcsec).join("<br>")],
    hoverinfo: "text",
    cliponaxis: false,
    marker: { symbol: look.symbol, size: look.size, color: look.colour, line: { width: 2, color: look.colour } },
  });
  const xs = [...usable, kept, all].map(widthOf);
  const [low, high] = [Math.min(...xs), Math.max(...xs)];
  const pad = Math.max((high - low) * 0.08, high * 0.005);
  const depths = [...usable, kept, all].map(({ depth }) => percent(depth));
  const floor = Math.min(...depths);
  const top = Math.max(...depths, floor + 1);
  const side = (outcome: StackOutcome, above: "top" | "bottom") =>
    `${above} ${widthOf(outcome) > (low + high) / 2 ? "left" : "right"}`;
  const first = usable[0]!;
  return stacked(
    [
      {
        title: "Depth of the stack, % of that as judged",
        heightPx: 260,
        axis: { range: [floor - 0.08 * (top - floor), top + 0.12 * (top - floor)], nticks: 6 },
        traces: [
          {
            type: "scatter",
            mode: "lines+markers",
            name: "the best subs, more and more of them",
            x: usable.map(widthOf),
            y: usable.map(({ depth }) => percent(depth)),
            text: usable.map((cut) => cutWords(cut, inArcsec).join("<br>")),
            hoverinfo: "text",
            line: { width: 1.5, color: "var(--soft)" },
            marker: { size: 5, symbol: "circle", color: "var(--soft)" },
          },
          mark(
            first,
            `best ${first.subs}`,
            { symbol: "triangle-up", colour: "var(--soft)", size: 9 },
            side(first, "top"),
          ),
          mark(
            all,
            `all ${all.subs}`,
            { symbol: "square-open", colour: "var(--unjudged)", size: 10 },
            side(all, "bottom"),
          ),
          mark(
            kept,
            `as judged, ${kept.subs}`,
            { symbol: "circle", colour: "var(--keep)", size: 12 },
            side(kept, "top"),
          ),
        ],
      },
    ],
    {
      title: { text: `width of the stars (FWHM), ${inArcsec ? "arcsec" : "px"}`, standoff: 6 },
      range: [low - pad, high + pad],
      nticks: 6,
      fixedrange: true,
    },
    "To the left stars are sharper, upwards the stack is deeper.",
  );
}

function outcomeWords(outcome: StackOutcome, name: string, inArcsec: boolean): string[] {
  const { depth, exposureS, effectiveS, fwhmArcsec, fwhmPx } = outcome;
  return [
    `<b>${name}</b>`,
    `depth ${percent(depth).toFixed(1)} % of the cut as judged`,
    `stars ${inArcsec ? `${fwhmArcsec.toFixed(2)} arcsec` : `${fwhmPx.toFixed(2)} px`} wide`,
    `${durationWords(exposureS)}, worth ${durationWords(effectiveS)} under the best conditions`,
  ];
}

const cutWords = (cut: Cut, inArcsec: boolean) =>
  outcomeWords(cut, `the best ${cut.subs} (${percent(cut.keptFraction).toFixed(0)} %)`, inArcsec);

/**
 * The same cuts as a table.
 * @example
 * ```ts
 * import { frontierTable, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * for (const found of night.frontiers) console.log(found && frontierTable(found).length);
 * ```
 */
export function frontierTable({ cuts, kept, all }: Frontier): string {
  const row = (
    name: string,
    { subs, exposureS, effectiveS, depth, depthWeighted, fwhmPx, fwhmArcsec }: StackOutcome,
  ) => [
    name,
    String(subs),
    durationWords(exposureS),
    durationWords(effectiveS),
    percent(depth).toFixed(1),
    percent(depthWeighted).toFixed(1),
    numberWords(fwhmPx),
    numberWords(fwhmArcsec),
  ];
  return tableHtml(
    "What other cuts would give, against the cut as judged",
    ["Cut", "Subs", "Exposure", "Worth", "Depth, %", "Depth with weights, %", "FWHM, px", "FWHM, arcsec"],
    [
      row("as judged", kept),
      ...cuts.map((cut) => row(`best ${percent(cut.keptFraction).toFixed(0)} %`, cut)),
      row("all", all),
    ],
  );
}
