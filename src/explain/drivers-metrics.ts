import { medianAndSigma } from "../numbers/robust.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { NightRows } from "./drivers-nights.js";
import { type FactorCode, type LawCode, type MetricCode, metricCodes } from "./drivers-terms.js";
import type { Explained } from "./laws.js";

/** A metric, series after series. */
export interface MetricSeries {
  readonly metric: MetricCode;
  /** Entries of the night rows that have the metric, ordered by series, then by time. */
  readonly entries: Int32Array;
  readonly values: Float64Array;
  /** First index of each series, and their total length. */
  readonly starts: Int32Array;
  readonly nightOfSeries: Int32Array;
  /** Factors whose effect has been taken off the values as a law, with the light that was predicted. */
  readonly takenOff: Partial<Record<FactorCode, Float64Array>>;
}

/** Shorter series say too little about their own level. */
const shortestSeries = 8;
/** Rejects and others both have to be at least so many. */
const fewestRejects = 5;

/**
 * The metrics of all subs. Rejects and star width are compared within a night; transparency, background and noise within
 * a night and one filter, exposure and gain, as they are not comparable beyond.
 */
export function metricSeries(table: FrameTable, night: NightRows, explained: Explained): MetricSeries[] {
  const claimed = (code: LawCode) => explained.laws.some((check) => check.law === code && check.claimed);
  const light = (entries: Int32Array): MetricSeries["takenOff"] => ({
    ...(claimed("twilight") && {
      twilight: Float64Array.from(entries, (i) => explained.twilight.predicted[night.rows[i]]),
    }),
    ...(claimed("moonlight") && {
      moon: Float64Array.from(entries, (i) => explained.moonlight.predicted[night.rows[i]]),
    }),
  });
  return metricCodes.flatMap((metric) => {
    const series = new Map<string, number[]>();
    const value = Float64Array.from(night.rows, (row) => metricOf(table, row, metric, explained));
    night.rows.forEach((row, i) => {
      if (!Number.isFinite(value[i])) return;
      const whole = metric === "rejects" || metric === "fwhm";
      const key = whole
        ? `${night.nightOf[i]}`
        : JSON.stringify([
            night.nightOf[i],
            table.target[row],
            table.filter[row],
            table.exposureS[row],
            table.gainSetting[row],
          ]);
      const entries = series.get(key);
      if (entries === undefined) series.set(key, [i]);
      else entries.push(i);
    });
    const used = [...series.values()].filter((entries) => entries.length >= shortestSeries);
    const entries = Int32Array.from(used.flat());
    if (entries.length < 20) return [];
    const starts = new Int32Array(used.length + 1);
    used.forEach((part, s) => {
      starts[s + 1] = starts[s] + part.length;
    });
    const values = Float64Array.from(entries, (i) => value[i]);
    if (metric === "rejects") {
      const rejected = values.reduce((a, b) => a + b, 0);
      if (Math.min(rejected, values.length - rejected) < fewestRejects) return [];
    } else for (let s = 0; s < used.length; s++) tame(values.subarray(starts[s], starts[s + 1]));
    const nightOfSeries = Int32Array.from(used, ([i]) => night.nightOf[i]);
    const takenOff = metric === "background" || metric === "noise" ? light(entries) : {};
    return [{ metric, entries, values, starts, nightOfSeries, takenOff }];
  });
}

function metricOf(table: FrameTable, row: number, metric: MetricCode, explained: Explained): number {
  const light = (of: "backgroundAdu" | "varianceAdu2") => explained.twilight[of][row] + explained.moonlight[of][row];
  switch (metric) {
    case "rejects":
      return table.verdict[row] === "drop" ? 1 : table.verdict[row] === "unjudged" ? Number.NaN : 0;
    case "fwhm": {
      // Without an airmass the width stays as it is.
      const airmass = Number.isFinite(table.airmass[row]) ? table.airmass[row] : 1;
      return Math.log(table.fwhmPx[row]) - explained.widthPower * Math.log(airmass);
    }
    case "transparency":
      return Math.log(Math.max(0.01, table.transparency[row]));
    case "background":
      return Math.log(rest(table.backgroundAdu[row], light("backgroundAdu")));
    case "noise":
      return Math.log(rest(table.noiseAdu[row] ** 2, light("varianceAdu2"))) / 2;
    default:
      return metric satisfies never;
  }
}

/** What is left when predicted light is taken off; not known where it is most of the whole, as no model is that good. */
const rest = (whole: number, light: number) => (light <= whole / 2 ? whole - light : Number.NaN);

/** Draws wild values in to four standard deviations of their series: a passing cloud must not decide the fit. */
function tame(values: Float64Array): void {
  const { median, sigma } = medianAndSigma(values);
  if (!(sigma > 0)) return;
  for (let i = 0; i < values.length; i++)
    values[i] = Math.min(median + 4 * sigma, Math.max(median - 4 * sigma, values[i]));
}
