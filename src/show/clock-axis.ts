import { type Figure, type Panel, stacked } from "./chart-panels.js";
import { type ChartRows, pauses } from "./chart-rows.js";

/** Panels on the axis of the subs: the clock with long pauses cut out, or the number of the sub. */
export function onAxis(panels: readonly Panel[], all: ChartRows, note: string): Figure {
  const [first, last] = [all.x[0]!, all.x.at(-1)!];
  const edge = Math.max((last - first) * 0.012, all.onClock ? 60_000 : 1);
  const cuts = pauses(all).map(([from, to]) => ({ bounds: [isoOf(from + 900_000), isoOf(to - 900_000)] }));
  return stacked(
    panels,
    {
      type: all.onClock ? "date" : "linear",
      title: { text: all.onClock ? "UTC" : "number of the sub", standoff: 6 },
      range: [first - edge, last + edge],
      ...(cuts.length > 0 && { rangebreaks: cuts }),
    },
    note,
  );
}

const isoOf = (ms: number) => new Date(ms).toISOString().replace("Z", "");
