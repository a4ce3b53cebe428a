import { type Arrangement, arrangements } from "../numbers/arrangements.js";
import { averagedCoefficients } from "../numbers/averaged-regression.js";
import { holm } from "../numbers/false-discovery.js";
import { randomStream } from "../numbers/random.js";
import { serialRegression } from "../numbers/serial-regression.js";
import { adjustedShiftP, type ShiftTest, shiftTest } from "../numbers/shift-tests.js";
import type { FrameTable } from "../terms/frame-table.js";
import { designOf, type ModelColumn, remedyFor } from "./drivers-design.js";
import { type MetricModel, metricEffect } from "./drivers-effects.js";
import { factorColumns } from "./drivers-factors.js";
import { type MetricSeries, metricSeries } from "./drivers-metrics.js";
import { type NightRows, nightRowsOf } from "./drivers-nights.js";
import { equalAltitudePairs, pairedEffect } from "./drivers-pairs.js";
import { rejectRates } from "./drivers-rates.js";
import type { DriverOptions, DriverOutcome, Drivers, DriverTest, Effect } from "./drivers-terms.js";
import { checkLaws } from "./laws.js";

/**
 * What rejects and quality go with over one or many nights: filter, altitude, sensor temperature, Moon, twilight, hour
 * and exposure, each with the others held, each night with its own level.
 *
 * First the factors alone are compared: those that moved together are tested as one and reported as such. Then known laws
 * are checked, and what they explain is taken off: twilight and moonlight as predicted, star width with airmass. Effects and 90 %
 * intervals come from regression with autocorrelated noise, for rejects from Firth's logistic regression with profile
 * intervals; p-values from circular shifts within nights, corrected for the number of tests. What is claimed must also show in pairs
 * of subs at equal altitude on both sides of the transit, where there are enough. All are associations.
 * @param table - graded; needs `startUtc` and, for the factors, what is known of the sky
 * @returns findings as data; words are made in show/
 * @example
 * ```ts
 * import { driversOf, readEcsv } from "nightyield";
 * const { design, outcomes } = driversOf(readEcsv(text, "frames.ecsv"));
 * ```
 */
export function driversOf(table: FrameTable, { level = 0.05, seed = 1 }: DriverOptions = {}): Drivers {
  const night = nightRowsOf(table);
  const pairs = equalAltitudePairs(table, night);
  const factors = factorColumns(table, night);
  const { design, model } = designOf(table, night, factors, pairs);
  const rates = rejectRates(table, night);
  const nothing = { design, laws: [], outcomes: [], tests: [], ...rates };
  if (night.rows.length < 20) return { ...nothing, because: "too-few-subs" };
  if (model.length === 0) return { ...nothing, because: "nothing-varies" };
  const explained = checkLaws(table, night, lawShare * level, factors);
  const { laws } = explained;
  const models = metricSeries(table, night, explained).flatMap((series) => modelOf(series, model));
  const questions = models.flatMap((m) =>
    m.columns.flatMap(({ asked }, index) => (asked ? [{ m, index, test: shiftTestOf(m, index) }] : [])),
  );
  const ways = arrangementsFor(night, questions, seed);
  const results = questions.map(({ test }) => shiftTest(test, ways));
  const byShifts = adjustedShiftP(
    questions.map(({ test }) => test),
    results,
    level,
  );
  const strong = strongP(models, questions);
  const adjusted = byShifts.map((p, i) => Math.min(p, strong[i]));
  const tests = questions.map(({ m, index }, i): DriverTest => {
    const effect: Effect = { ...metricEffect(m, index), p: results[i].p, adjustedP: adjusted[i] };
    const { factors, hourFitsAsWell } = m.columns[index];
    const paired = isPaired(m, index) ? pairedEffect(m, index, pairs) : null;
    return {
      metric: m.series.metric,
      factors,
      hourFitsAsWell,
      effect,
      ...(paired !== null && { equalAltitude: paired }),
    };
  });
  const outcomes = tests.flatMap((test) =>
    test.effect.adjustedP <= level && !missingInPairs(test) ? [outcomeOf(test)] : [],
  );
  return { design, laws, outcomes, tests, ...rates, because: null };
}

/**
 * True when pairs of equal altitude could have shown an effect of this size and do not: then it may be what a bent course with
 * altitude leaves over.
 */
function missingInPairs({ effect, equalAltitude }: DriverTest): boolean {
  if (equalAltitude === undefined) return false;
  const { low, high } = equalAltitude.interval;
  const shown = effect.estimate > 0 ? low > 0 : high < 0;
  return !shown && (high - low) / 2 < Math.abs(effect.estimate);
}

const isPaired = ({ series, columns }: MetricModel, index: number) =>
  series.metric !== "rejects" && columns[index].factors.every(({ code }) => code !== "altitude" && code !== "filter");

function outcomeOf(test: DriverTest): DriverOutcome {
  const [a, b] = test.factors;
  if (b === undefined) return { ...test, kind: "finding" };
  return { ...test, kind: "cannot-be-separated", separatedBy: remedyFor(a.code, b.code) };
}

/**
 * The part of the level that laws are checked at, beside the level of the other tests. Averaging over the noise, and asking
 * twice, makes false claims of laws rarer than their level: on nights without any effect none of 200 claimed one, and
 * all claims together stay at the level asked (tests/recovery/drivers-laws.test.ts).
 */
const lawShare = 0.5;

/** The columns that vary within the metric's own series, and the fit on them. */
function modelOf(series: MetricSeries, model: readonly ModelColumn[]): MetricModel[] {
  const columns = model.flatMap((column) => {
    const [{ code, step }, ...others] = column.factors;
    // What was taken off as a law stays in the model, or its error would be laid on what went with it; it is not tested anew.
    const light = others.length === 0 ? series.takenOff[code] : undefined;
    const values = light ?? Float64Array.from(series.entries, (i) => column.values[i] / step);
    return varies(values, series.starts) ? [{ ...column, values, asked: light === undefined }] : [];
  });
  const fit = serialRegression(
    columns.map(({ values }) => values),
    series.values,
    series.starts,
  );
  return fit === null || columns.length === 0 ? [] : [{ series, columns, fit }];
}

function varies(values: Float64Array, starts: Int32Array): boolean {
  let changes = 0;
  for (let s = 0; s + 1 < starts.length; s++)
    for (let i = starts[s] + 1; i < starts[s + 1]; i++) if (Math.abs(values[i] - values[starts[s]]) > 1e-9) changes++;
  return changes >= 4;
}

/**
 * Few arrangements of a smooth column are really different, so shifts alone miss effects that are many times their error
 * (3 to 8 of 100 in tests/recovery/drivers.test.ts). Effects are therefore also claimed by regression averaged over the
 * noise. The two ways mostly agree, and each by itself claims less than it may: both at the whole level claim something
 * on 5 % of nights without any effect.
 * By averaged regression, corrected for the number of tests (Holm); 1 for rejects, which are no continuous series.
 */
function strongP(
  models: readonly MetricModel[],
  questions: readonly { readonly m: MetricModel; readonly index: number }[],
): number[] {
  const averaged = new Map(
    models
      .filter(({ series }) => series.metric !== "rejects")
      .map((m) => [m, averagedCoefficients(m.fit.grid, m.fit.degreesOfFreedom)]),
  );
  return holm(
    questions.map(({ m, index }) => {
      const positive = averaged.get(m)?.[index].pPositive ?? 0.5;
      return 2 * Math.min(positive, 1 - positive);
    }),
  );
}

function shiftTestOf({ series, fit }: MetricModel, index: number): ShiftTest {
  return {
    x: fit.columns[index],
    y: fit.y,
    held: fit.columns.filter((_, i) => i !== index),
    starts: series.starts,
    turnOf: series.nightOfSeries,
    degreesOfFreedom: fit.degreesOfFreedom,
  };
}

/** As many arrangements as a second or so allows, 199 to 999. */
function arrangementsFor(
  night: NightRows,
  questions: readonly { readonly test: ShiftTest }[],
  seed: number,
): Arrangement[] {
  const lengths = new Array<number>(night.nights).fill(0);
  for (const n of night.nightOf) lengths[n]++;
  const work = questions.reduce((sum, { test }) => sum + test.x.length * (test.held.length + 2), 0);
  const most = Math.round(Math.min(999, Math.max(199, 8e8 / Math.max(1, work))));
  return arrangements(lengths, most, randomStream(seed, "driver shifts"));
}
