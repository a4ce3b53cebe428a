import { varianceInflation } from "../numbers/collinearity.js";
import { median } from "../numbers/quantiles.js";
import { correlation, ranks } from "../numbers/rank.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { FactorColumn } from "./drivers-factors.js";
import type { NightRows } from "./drivers-nights.js";
import type { AltitudePair } from "./drivers-pairs.js";
import type { Design, Factor, FactorCode, Inseparable, Remedy } from "./drivers-terms.js";

/** A column of the model: one factor, or several that moved together and are tested as one. */
export interface ModelColumn {
  readonly factors: readonly Factor[];
  /** In units of the first factor, for which effects are quoted. */
  readonly values: Float64Array;
  readonly hourFitsAsWell: boolean;
}

const mostInflation = 10;
/** Rank correlation from which two factors are one: also where the relation is bent, which the inflation cannot see. */
const mostCorrelation = 0.95;

/** Looks at the factors alone, before any result, and says which of them the nights can tell apart. */
export function designOf(
  table: FrameTable,
  night: NightRows,
  columns: readonly FactorColumn[],
  pairs: readonly AltitudePair[],
) {
  const inflation = varianceInflation(columns.map(({ values }) => values));
  const inseparable: Inseparable[] = [];
  const model = merged(columns, night, inseparable);
  const design: Design = {
    subs: night.rows.length,
    nights: night.nights,
    factors: columns.map(({ factor }, i) => ({ factor, inflation: inflation[i] })),
    inseparable,
    ...altitudePairs(table, night, pairs),
  };
  return { design, model };
}

function merged(columns: readonly FactorColumn[], night: NightRows, inseparable: Inseparable[]): ModelColumn[] {
  let model = columns.map(({ factor, values }): ModelColumn => ({ factors: [factor], values, hourFitsAsWell: false }));
  for (;;) {
    const inflation = varianceInflation(model.map(({ values }) => values));
    const ranked = model.map(({ values }) => ranksWithinNights(values, night));
    let pair: { a: number; b: number; r: number } | null = null;
    for (let a = 0; a < model.length; a++)
      for (let b = 0; b < a; b++) {
        const r = correlation(ranked[a], ranked[b]);
        const close = Math.abs(r) > mostCorrelation || Math.min(inflation[a], inflation[b]) > mostInflation;
        // The hour goes first: it is no cause by itself, and stands for all that was not measured.
        const weight = Math.abs(r) + (isHour(model[a]) || isHour(model[b]) ? 1 : 0);
        const best = pair === null ? 0 : Math.abs(pair.r) + (isHour(model[pair.a]) || isHour(model[pair.b]) ? 1 : 0);
        if (close && weight > best) pair = { a: b, b: a, r };
      }
    if (pair === null) return model;
    const [first, second] = [model[pair.a], model[pair.b]];
    const kept = isHour(first) ? second : first;
    const joined: ModelColumn =
      isHour(first) || isHour(second)
        ? { ...kept, hourFitsAsWell: true }
        : {
            factors: [...first.factors, ...second.factors],
            values: meanOfStandardised(first.values, second.values, pair.r),
            hourFitsAsWell: first.hourFitsAsWell || second.hourFitsAsWell,
          };
    for (const a of first.factors)
      for (const b of second.factors)
        inseparable.push({ factors: [a, b], correlation: pair.r, separatedBy: remedyFor(a.code, b.code) });
    const { a, b } = pair;
    model = model.flatMap((column, i) => (i === b ? [] : i === a ? [joined] : [column]));
  }
}

const isHour = ({ factors }: ModelColumn) => factors[0].code === "hour";

/** What observation would tell two factors apart. */
export function remedyFor(a: FactorCode, b: FactorCode): Remedy {
  const has = (...codes: FactorCode[]) => codes.includes(a) || codes.includes(b);
  if (has("filter") && has("exposure")) return "one-exposure-for-both-filters";
  if (has("filter")) return "alternate-filters";
  if (has("moon")) return "moonless-night";
  if (has("twilight")) return "fully-dark-hours";
  if (has("altitude")) return "follow-through-transit";
  return "another-night";
}

function meanOfStandardised(a: Float64Array, b: Float64Array, r: number): Float64Array {
  const length = (v: Float64Array) => Math.sqrt(v.reduce((sum, x) => sum + x * x, 0));
  const factor = (Math.sign(r) * length(a)) / length(b);
  return a.map((v, i) => (v + factor * b[i]) / 2);
}

function ranksWithinNights(values: Float64Array, { nightOf, nights }: NightRows): Float64Array {
  const result = new Float64Array(values.length);
  let from = 0;
  for (let night = 0; night < nights; night++) {
    let to = from;
    while (to < values.length && nightOf[to] === night) to++;
    const part = ranks(values.subarray(from, to));
    // Centred, and scaled so that long nights do not outweigh the short ones by more than their number of subs.
    for (let i = from; i < to; i++) result[i] = (part[i - from] - (to - from + 1) / 2) / (to - from);
    from = to;
  }
  return result;
}

/** What the pairs of equal altitude, and subs of about the same altitude, leave of the temperature's course. */
function altitudePairs(table: FrameTable, { rows, nightOf }: NightRows, pairs: readonly AltitudePair[]) {
  const temperature = (entry: number) => table.sensorTempC[rows[entry]];
  const bins = new Map<string, [number, number]>();
  rows.forEach((row, i) => {
    const [altitude, t] = [table.altitudeDeg[row], temperature(i)];
    if (!Number.isFinite(altitude + t)) return;
    const bin = `${nightOf[i]} ${Math.floor(altitude / 5)}`;
    const [low, high] = bins.get(bin) ?? [t, t];
    bins.set(bin, [Math.min(low, t), Math.max(high, t)]);
  });
  return {
    equalAltitudePairs: pairs.length,
    pairTemperatureStepC: median(pairs.map(({ before, after }) => temperature(after) - temperature(before))),
    temperatureRangeInAltitudeBinC: median([...bins.values()].map(([low, high]) => high - low)),
  };
}
