import { shortNumber } from "../../library/table-text.js";
import { isRecord, type MimeBundle } from "../messages/message.js";
import { figureSvg } from "./figure-svg.js";

type Plain = Readonly<Record<string, unknown>>;

/** A plotly figure as plain data. */
export interface PlotlyFigure {
  readonly data: readonly Plain[];
  readonly layout?: Plain;
  readonly config?: Plain;
}

/** True for `{ data: [traces], layout }` whose traces look like plotly's. */
export function isFigure(value: unknown): value is PlotlyFigure {
  if (!isRecord(value) || !Array.isArray(value.data) || value.data.length === 0) return false;
  if (value.layout !== undefined && !isRecord(value.layout)) return false;
  return value.data.every(
    (trace) =>
      isRecord(trace) &&
      (value.layout !== undefined || typeof trace.type === "string") &&
      ["x", "y", "z", "values", "type"].some((name) => name in trace),
  );
}

/** A chart for clients that draw plotly, a still picture for the others, and its numbers in words. */
export function figureBundle({ data, layout = {}, config = {} }: PlotlyFigure): MimeBundle {
  const text = figureText(data, layout);
  // Typed arrays do not survive JSON as arrays.
  const plain = (value: unknown) =>
    JSON.parse(
      JSON.stringify(value, (_, part) => (ArrayBuffer.isView(part) ? Array.from(part as Float64Array) : part)),
    );
  return {
    "application/vnd.plotly.v1+json": plain({ data, layout, config }),
    "text/html": figureSvg(data, layout, text),
    "text/plain": text,
  };
}

function figureText(data: readonly Plain[], layout: Plain): string {
  const title = isRecord(layout.title) ? layout.title.text : layout.title;
  const lines = data.map((trace, i) => {
    const name = typeof trace.name === "string" ? trace.name : `trace ${i + 1}`;
    const numbers = numbersOf(trace.y ?? trace.values ?? trace.x).filter(Number.isFinite);
    if (numbers.length === 0) return `  ${name}`;
    const [low, high] = [Math.min(...numbers.slice(0, 50_000)), Math.max(...numbers.slice(0, 50_000))];
    return `  ${name}: ${numbers.length} points, ${shortNumber(low)} to ${shortNumber(high)}`;
  });
  return [`Chart${typeof title === "string" ? `: ${title}` : ""}`, ...lines].join("\n");
}

/** Numbers from a trace's array; what is none is NaN. */
export function numbersOf(values: unknown): number[] {
  if (!Array.isArray(values) && !ArrayBuffer.isView(values)) return [];
  return Array.from(values as ArrayLike<unknown>, (value) => (typeof value === "number" ? value : Number.NaN));
}
