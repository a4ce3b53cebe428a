import { type Figure, type Panel, stacked } from "./chart-panels.js";
import { type ChartRows, pauses } from "./chart-rows.js";

/** Panels on the axis of the subs: the clock with long pauses cut out, or the number of the sub. */
export function onAxis(panels: readonly Panel[], all: ChartRows, note: string): Figure {
  const [first, last] = [all.x[0]!, all.x.at(-1)!];
  // Of the axis as it is drawn, without the pauses that are cut out.
  const cut = pauses(all).reduce((sum, [from, to]) => sum + to - from, 0);
  const edge = Math.max((last - first - cut) * 0.012, all.onClock ? 60_000 : 1);
  const cuts = pauses(all).map(([from, to]) => ({ bounds: [isoOf(from + 900_000), isoOf(to - 900_000)] }));
  return stacked(
    panels,
    {
      type: all.onClock ? "date" : "linear",
      title: { text: all.onClock ? "UTC" : "number of the sub", standoff: 6 },
      range: [first - edge, last + edge],
      ...(cuts.length > 0 && { rangebreaks: cuts }),
      ...(all.onClock && clockTicks(all)),
    },
    note,
  );
}

/** Names of ticks that a phone has room for. */
const mostTicks = 8;
const hourMs = 3_600_000;
const months = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

/** Whole hours, with the date below the first of each night; of many nights only the dates. Nothing for short stretches. */
function clockTicks(all: ChartRows): Readonly<Record<string, unknown>> {
  const { x } = all;
  const nights: { from: number; to: number }[] = [];
  let from = x[0]!;
  for (const [end, next] of pauses(all)) {
    nights.push({ from, to: end });
    from = next;
  }
  nights.push({ from, to: x.at(-1)! });
  const total = nights.reduce((sum, night) => sum + night.to - night.from, 0);
  if (nights.length === 1 && total < 2.5 * hourMs) return {};
  const date = (ms: number) => `${new Date(ms).getUTCDate()} ${months[new Date(ms).getUTCMonth()]}`;
  if (nights.length > mostTicks) {
    const every = Math.ceil(nights.length / mostTicks);
    const named = nights.filter((_, i) => i % every === 0);
    return {
      tickvals: named.map((night) => night.from),
      ticktext: named.map((night) => date(night.from)),
    };
  }
  const step = ([1, 2, 3, 4, 6, 12, 24].find((hours) => total / (hours * hourMs) <= mostTicks) ?? 24) * hourMs;
  const ticks = nights.flatMap((night) => {
    const inside: number[] = [];
    for (let ms = Math.ceil(night.from / step) * step; ms <= night.to; ms += step) inside.push(ms);
    // A night shorter than a step still gets its date.
    return (inside.length === 0 ? [night.from] : inside).map((ms, i) => ({ ms, isFirst: i === 0 }));
  });
  const kept: typeof ticks = [];
  for (const tick of ticks) {
    const last = kept.at(-1);
    const isNear = last !== undefined && along(tick.ms, nights) - along(last.ms, nights) < 0.75 * step;
    if (isNear && !tick.isFirst) continue;
    if (isNear && last.isFirst) continue;
    if (isNear) kept.pop();
    kept.push(tick);
  }
  return {
    tickvals: kept.map(({ ms }) => ms),
    ticktext: kept.map(
      ({ ms, isFirst }) => `${new Date(ms).toISOString().slice(11, 16)}${isFirst ? `<br>${date(ms)}` : ""}`,
    ),
  };
}

/** Time on the axis, the pauses between nights taken out. */
const along = (ms: number, nights: readonly { readonly from: number; readonly to: number }[]) =>
  nights.reduce((sum, { from, to }) => sum + Math.max(0, Math.min(ms, to) - from), 0);

const isoOf = (ms: number) => new Date(ms).toISOString().replace("Z", "");
