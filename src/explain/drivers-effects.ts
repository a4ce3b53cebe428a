import { leastSquares } from "../numbers/least-squares.js";
import { type LogisticData, logisticRegression } from "../numbers/logistic.js";
import { profileCoefficient } from "../numbers/logistic-profile.js";
import { partialCorrelation } from "../numbers/partial-correlation.js";
import { ranks } from "../numbers/rank.js";
import { serialInflation } from "../numbers/serial-noise.js";
import type { SerialFit } from "../numbers/serial-regression.js";
import { tQuantileTwoSided } from "../numbers/tails.js";
import type { ModelColumn } from "./drivers-design.js";
import type { MetricSeries } from "./drivers-metrics.js";
import type { Effect } from "./drivers-terms.js";

/** A metric with the columns it was fitted on, in units of their steps. */
export interface MetricModel {
  readonly series: MetricSeries;
  readonly columns: readonly (ModelColumn & {
    /** False for what is only held. */
    readonly asked: boolean;
  })[];
  readonly fit: SerialFit;
}

/** Size and 90 % interval of one column's effect. */
export function metricEffect(model: MetricModel, index: number): Omit<Effect, "p" | "adjustedP"> {
  const { series, columns, fit } = model;
  const others = columns.filter((_, i) => i !== index).map(({ values }) => values);
  const free = withinSeries(columns[index].values, series);
  const held = others.map((values) => withinSeries(values, series));
  const x = held.length === 0 ? free : leastSquares(held, free).residuals;
  const inflation = serialInflation(x, series.starts, fit.noise);
  const common = {
    subs: series.values.length,
    nights: new Set(series.nightOfSeries).size,
    effectiveSubs: series.values.length / inflation,
  };
  if (series.metric === "rejects") return { ...rejectEffect(model, index, inflation), ...common };
  const estimate = fit.coefficients[index];
  const reach = tQuantileTwoSided(0.1, fit.degreesOfFreedom) * fit.standardErrors[index];
  const y = withinSeries(series.values, series);
  return {
    estimate,
    interval: { low: estimate - reach, high: estimate + reach },
    partialSpearman: partialCorrelation(ranks(free), ranks(y), held.map(ranks)).r,
    ...common,
  };
}

/**
 * Log-odds by Firth's regression. Nights enter by one column, the log-odds of each night's own rate, beside columns that
 * are centred within nights (Neuhaus & Kalbfleisch 1998, Biometrics 54, 638): a column a night would be slow and, with
 * few rejects a night, biased.
 */
function rejectEffect({ series, columns }: MetricModel, index: number, inflation: number) {
  const data: LogisticData = { events: series.values, columns: columns.map((c) => withinSeries(c.values, series)) };
  const levels = nightLevels(series);
  const whole = levels === null ? data : { ...data, columns: [...data.columns, levels] };
  const fit = logisticRegression(whole);
  const { estimate, interval } = profileCoefficient(whole, fit, index + 1, { level: 0.9, inflation });
  return { estimate, interval, partialSpearman: Number.NaN };
}

function nightLevels({ values, starts }: MetricSeries): Float64Array | null {
  if (starts.length <= 2) return null;
  const result = new Float64Array(values.length);
  for (let s = 0; s + 1 < starts.length; s++) {
    let bad = 0.5;
    for (let i = starts[s]; i < starts[s + 1]; i++) bad += values[i];
    result.fill(Math.log(bad / (starts[s + 1] - starts[s] + 1 - bad)), starts[s], starts[s + 1]);
  }
  return result.some((v) => v !== result[0]) ? result : null;
}

function withinSeries(values: Float64Array, { starts }: MetricSeries): Float64Array {
  const result = new Float64Array(values.length);
  for (let s = 0; s + 1 < starts.length; s++) {
    let sum = 0;
    for (let i = starts[s]; i < starts[s + 1]; i++) sum += values[i];
    const mean = sum / (starts[s + 1] - starts[s]);
    for (let i = starts[s]; i < starts[s + 1]; i++) result[i] = values[i] - mean;
  }
  return result;
}
