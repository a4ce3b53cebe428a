import { sunEventAltitudesDeg } from "../sky/twilight.js";
import type { FrameTable } from "../terms/frame-table.js";
import { type ChartRows, pauseMs } from "./chart-rows.js";

const { riseSet, civil, nautical, astronomical } = sunEventAltitudesDeg;
/** The sky by the Sun's altitude, from bright to dark: each begins below the altitude given. */
export const sunPhases = [
  { name: "day", belowDeg: Number.POSITIVE_INFINITY, colour: "var(--sun-day)" },
  { name: "civil twilight", belowDeg: riseSet, colour: "var(--sun-civil)" },
  { name: "nautical twilight", belowDeg: civil, colour: "var(--sun-nautical)" },
  { name: "astronomical twilight", belowDeg: nautical, colour: "var(--sun-astronomical)" },
  { name: "night", belowDeg: astronomical, colour: "var(--sun-night)" },
] as const;

/** Index into {@link sunPhases}; -1 where the Sun's altitude is not known. */
export function sunPhaseOf(sunAltitudeDeg: number): number {
  return sunPhases.findLastIndex(({ belowDeg }) => sunAltitudeDeg < belowDeg);
}

export interface SunBand {
  readonly phase: number;
  readonly from: number;
  readonly to: number;
}

/**
 * Stretches of the chart's axis by the Sun's altitude. Between two subs the edge is interpolated; pauses stay empty.
 * Edges are whole minutes: the second at which twilight ends would tell the observer's place.
 */
export function sunBands(table: FrameTable, { rows, x, onClock }: ChartRows): SunBand[] {
  const bands: SunBand[] = [];
  const add = (phase: number, from: number, to: number) => {
    const last = bands.at(-1);
    if (last?.phase === phase && last.to === from) bands[bands.length - 1] = { ...last, to };
    else if (to > from) bands.push({ phase, from, to });
  };
  if (!onClock) return bands;
  for (let i = 1; i < rows.length; i++) {
    const [a, b] = [table.sunAltitudeDeg[rows[i - 1]!]!, table.sunAltitudeDeg[rows[i]!]!];
    const [start, end] = [x[i - 1]!, x[i]!];
    const [first, last] = [sunPhaseOf(a), sunPhaseOf(b)];
    if (first < 0 || last < 0 || end - start > pauseMs) continue;
    let from = start;
    for (let phase = first; phase !== last; phase += Math.sign(last - first)) {
      const edgeDeg = sunPhases[Math.max(phase, phase + Math.sign(last - first))]!.belowDeg;
      const crossing = start + ((edgeDeg - a) / (b - a)) * (end - start);
      const to = Math.max(from, Math.min(end, Math.round(crossing / 60_000) * 60_000));
      add(phase, from, to);
      from = to;
    }
    add(last, from, end);
  }
  return bands;
}
