import { noiseFall } from "../plan/depth.js";
import { CallError } from "../terms/errors.js";
import { type Figure, logTicks, stacked } from "./chart-panels.js";
import { tableHtml } from "./html.js";
import { countWords, numberWords } from "./words.js";

/** Noise of stacks of a growing number of subs. */
export interface StackNoise {
  /** Subs in each stack, rising. */
  readonly counts: readonly number[];
  /** Noise of each stack, in any one unit. */
  readonly noise: readonly number[];
  /** Unit of the noise, for the axis; ADU when left out. */
  readonly unit?: string;
}

/**
 * How the noise of the stack fell with every sub, beside what it would be if nothing but random noise were left. Null with
 * fewer than two stacks.
 * @throws CallError when counts and noises differ in number
 * @example
 * ```ts
 * import { stackDepthFigure } from "nightyield";
 * console.log(stackDepthFigure({ counts: [1, 2, 4, 8], noise: [6.4, 4.6, 3.3, 2.4] })?.data.length);
 * ```
 */
export function stackDepthFigure({ counts, noise, unit = "ADU" }: StackNoise): Figure | null {
  if (counts.length !== noise.length)
    throw new CallError(`There are ${counts.length} counts of subs but ${noise.length} noises; give one noise a stack`);
  if (counts.length < 2) return null;
  const ideal = idealNoise({ counts, noise });
  const hover = counts.map(
    (n, i) =>
      `${countWords(n, "sub")}: noise ${numberWords(noise[i]!)} ${unit}<br>${numberWords(ideal[i]!)} if only random noise were left`,
  );
  const { exponent, excess } = noiseFall(counts, noise);
  return stacked(
    [
      {
        title: `Noise of the stack, ${unit}`,
        heightPx: 240,
        axis: { type: "log", ...logTicks(...ends([...noise, ...ideal])) },
        traces: [
          {
            type: "scatter",
            mode: "lines",
            name: "only random noise",
            x: counts,
            y: ideal,
            hoverinfo: "skip",
            line: { width: 2, dash: "dash", color: "var(--soft)" },
          },
          {
            type: "scatter",
            mode: "lines+markers",
            name: "measured",
            x: counts,
            y: noise,
            text: hover,
            hoverinfo: "text",
            line: { width: 1.5, color: "var(--keep)" },
            marker: { symbol: "circle", size: 7, color: "var(--keep)" },
          },
        ],
      },
    ],
    { type: "log", title: { text: "subs in the stack", standoff: 6 }, ...logTicks(...ends(counts)), fixedrange: true },
    `Noise falls as the number of subs to the power ${exponent.toFixed(2).replace("-", "\u2212")} (\u22120.50: only random noise is left); at ${countWords(counts.at(-1)!, "sub")} it is ${numberWords(excess)} times what the first stack lets expect, the dashed line.`,
  );
}

const ends = (values: readonly number[]): [number, number] => [Math.min(...values), Math.max(...values)];

const idealNoise = ({ counts, noise }: Pick<StackNoise, "counts" | "noise">) =>
  counts.map((n) => noise[0]! * Math.sqrt(counts[0]! / n));

/**
 * The same as a table.
 * @example
 * ```ts
 * import { stackDepthTable } from "nightyield";
 * console.log(stackDepthTable({ counts: [1, 2, 4, 8], noise: [6.4, 4.6, 3.3, 2.4] }).includes("<table"));
 * ```
 */
export function stackDepthTable({ counts, noise, unit = "ADU" }: StackNoise): string {
  const ideal = idealNoise({ counts, noise });
  return tableHtml(
    "Noise of stacks of a growing number of subs",
    ["Subs", `Noise, ${unit}`, `Only random noise, ${unit}`, "Measured over random"],
    counts.map((n, i) => [
      String(n),
      numberWords(noise[i]!),
      numberWords(ideal[i]!),
      (noise[i]! / ideal[i]!).toFixed(3),
    ]),
  );
}
