import { CallError } from "../terms/errors.js";
import { type Interval, wilsonInterval } from "./proportion-intervals.js";

/** Forecasts of about the same probability, and how often they came true. */
export interface ReliabilityRow {
  readonly from: number;
  readonly to: number;
  readonly forecasts: number;
  readonly meanForecast: number;
  readonly observed: number;
  /** Wilson's 95 % interval of `observed`. */
  readonly interval: Interval;
}

/**
 * Mean squared difference of forecast probability and outcome (Brier 1950, Mon. Weather Rev. 78, 1): 0 is perfect, 0.25
 * is what an even "one half" earns.
 * @param outcomes - 0 or 1
 * @throws CallError when there are no forecasts or the lengths differ
 */
export function brierScore(probabilities: ArrayLike<number>, outcomes: ArrayLike<number>): number {
  if (probabilities.length === 0 || probabilities.length !== outcomes.length)
    throw new CallError(`${probabilities.length} forecasts and ${outcomes.length} outcomes give no score`);
  let sum = 0;
  for (let i = 0; i < outcomes.length; i++) sum += (probabilities[i] - outcomes[i]) ** 2;
  return sum / outcomes.length;
}

/** Forecasts in bins of equal width against what happened; empty bins are left out. */
export function reliabilityTable(
  probabilities: ArrayLike<number>,
  outcomes: ArrayLike<number>,
  bins = 10,
): ReliabilityRow[] {
  const rows: ReliabilityRow[] = [];
  for (let bin = 0; bin < bins; bin++) {
    let [forecasts, sum, events] = [0, 0, 0];
    for (let i = 0; i < outcomes.length; i++) {
      if (Math.min(bins - 1, Math.floor(probabilities[i] * bins)) !== bin) continue;
      forecasts++;
      sum += probabilities[i];
      events += outcomes[i];
    }
    if (forecasts === 0) continue;
    rows.push({
      from: bin / bins,
      to: (bin + 1) / bins,
      forecasts,
      meanForecast: sum / forecasts,
      observed: events / forecasts,
      interval: wilsonInterval(events, forecasts),
    });
  }
  return rows;
}
