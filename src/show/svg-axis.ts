type Plain = Readonly<Record<string, unknown>>;

export interface AxisTick {
  readonly at: number;
  readonly name: string;
}

/** One axis of a still chart. */
export interface AxisScale {
  /** Where the axis begins and ends in the picture. */
  readonly start: number;
  readonly end: number;
  readonly isLog: boolean;
  readonly hasGrid: boolean;
  readonly hasLabels: boolean;
  readonly ticks: readonly AxisTick[];
  place(value: number): number;
}

const [hourMs, dayMs] = [3_600_000, 86_400_000];

/**
 * Reads an axis as our charts describe it: linear, logarithmic or clock, with a range or from the values, stretches cut out.
 * @param values - all that are drawn on it
 */
export function axisScale(axis: Plain, values: readonly number[], start: number, end: number): AxisScale {
  const isLog = axis.type === "log";
  const isClock = axis.type === "date";
  const cuts = cutsOf(axis.rangebreaks);
  /** Position along the axis, stretches that are cut out taken off. */
  const along = (value: number) =>
    isLog
      ? Math.log10(value)
      : value - cuts.reduce((sum, [from, to]) => sum + Math.max(0, Math.min(value, to) - from), 0);
  const [low, high] = rangeOf(axis, values, isLog);
  const [first, last] = isLog ? [low, high] : [along(low), along(high)];
  const place = (value: number) => start + ((along(value) - first) / (last - first || 1)) * (end - start);
  const [least, most] = isLog
    ? [10 ** Math.min(low, high), 10 ** Math.max(low, high)]
    : [Math.min(low, high), Math.max(low, high)];
  const own = given(axis);
  const chosen = own ?? (isClock ? clockTicks(least, most, cuts) : valueTicks(least, most, axis));
  return {
    start,
    end,
    isLog,
    hasGrid: axis.showgrid !== false,
    hasLabels: axis.showticklabels !== false,
    ticks: apart(
      chosen
        .filter(([value]) => value >= least && value <= most && !cuts.some(([from, to]) => value > from && value < to))
        .map(([value, name]) => ({ at: place(value), name })),
      isClock ? (own === null ? 66 : 34) : 0,
    ),
    place,
  };
}

/** Ticks whose names would run into the one before are left out. */
function apart(ticks: readonly AxisTick[], leastPx: number): AxisTick[] {
  const shown: AxisTick[] = [];
  for (const tick of ticks) if (shown.length === 0 || Math.abs(tick.at - shown.at(-1)!.at) >= leastPx) shown.push(tick);
  return shown;
}

function cutsOf(breaks: unknown): [number, number][] {
  if (!Array.isArray(breaks)) return [];
  return (breaks as { bounds: [string, string] }[]).map(({ bounds: [from, to] }) => [
    Date.parse(`${from}Z`),
    Date.parse(`${to}Z`),
  ]);
}

/** Ends as plotly has them: logarithms on a logarithmic axis. */
function rangeOf(axis: Plain, values: readonly number[], isLog: boolean): [number, number] {
  if (Array.isArray(axis.range)) return axis.range as [number, number];
  let [low, high] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const value of values) {
    const shown = isLog ? Math.log10(value) : value;
    low = Math.min(low, shown);
    high = Math.max(high, shown);
  }
  if (!(low <= high)) return [0, 1];
  if (axis.rangemode === "tozero") low = Math.min(0, low);
  const pad = (high - low) * 0.06 || Math.abs(high) * 0.1 || 1;
  return [axis.rangemode === "tozero" && low === 0 ? 0 : low - pad, high + pad];
}

function given({ tickvals, ticktext }: Plain): [number, string][] | null {
  if (!Array.isArray(tickvals)) return null;
  const names = Array.isArray(ticktext) ? (ticktext as string[]) : tickvals.map(String);
  return (tickvals as number[]).map((value, i) => [value, names[i] ?? ""]);
}

/** About as many round values as are asked for. */
function valueTicks(low: number, high: number, { dtick, nticks }: Plain): [number, string][] {
  const wanted = typeof nticks === "number" ? nticks : 6;
  const rough = (high - low) / Math.max(1, wanted);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step =
    typeof dtick === "number" ? dtick : power * ([1, 2, 5, 10].find((digit) => digit * power >= rough) ?? 10);
  const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const from = Math.ceil(low / step - 1e-9);
  return Array.from({ length: Math.min(40, Math.floor(high / step + 1e-9) - from + 1) }, (_, i) => {
    const value = (from + i) * step;
    return [value, value.toFixed(digits).replace("-", "\u2212")];
  });
}

/** Whole hours, or days where the nights are many. */
function clockTicks(low: number, high: number, cuts: readonly (readonly [number, number])[]): [number, string][] {
  const span = high - low - cuts.reduce((sum, [from, to]) => sum + to - from, 0);
  const several = cuts.length > 0 || span > 1.5 * dayMs;
  const step =
    [1, 2, 3, 6, 12, 24].map((hours) => hours * hourMs).find((ms) => span / ms <= 9) ??
    Math.ceil(span / dayMs / 8) * dayMs;
  const ticks: [number, string][] = [];
  for (let ms = Math.ceil(low / step) * step; ms <= high && ticks.length < 4000; ms += step) {
    const iso = new Date(ms).toISOString();
    ticks.push([ms, several ? `${iso.slice(8, 10)}. ${iso.slice(11, 13)} h` : iso.slice(11, 16)]);
  }
  return ticks;
}
