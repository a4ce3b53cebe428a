import { averagedRegression } from "../numbers/averaged-regression.js";
import { varianceInflation } from "../numbers/collinearity.js";
import { holm } from "../numbers/false-discovery.js";
import { median } from "../numbers/quantiles.js";
import { conditionsOf } from "../sky/sky-column.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { FactorColumn } from "./drivers-factors.js";
import type { NightRows } from "./drivers-nights.js";
import type { LawCheck, LawCode } from "./drivers-terms.js";
import { naturalNanolambert, predictedLight } from "./predicted-light.js";

/** Light of one kind, by row of the table; 0 where it is not claimed. */
export interface LightFound {
  /** As predicted, nL. */
  readonly predicted: Float64Array;
  /** What it is found to add, against the sub of its series with least of it: to the background, and to its variance. */
  readonly backgroundAdu: Float64Array;
  readonly varianceAdu2: Float64Array;
}

/** What the laws explain of each row, to be taken off before other drivers are tested. */
export interface Explained {
  readonly laws: readonly LawCheck[];
  readonly twilight: LightFound;
  readonly moonlight: LightFound;
  /** Power of the airmass that star widths are freed of. */
  readonly widthPower: number;
}

type Draft = Omit<LawCheck, "adjustedP" | "claimed"> & { readonly series: LightSeries | null };

/** Kolmogorov's turbulence; and what blur that does not grow, a finite outer scale or dispersion make of it. */
const kolmogorov = 0.6;
const powerRange = { low: 0.2, high: 1 };
/** A law needs so large a range to be looked for: natural logarithm of the airmass; nL of light. */
const leastLogAirmass = 0.08;
const leastLight = 0.1 * naturalNanolambert;
/** Of the airmass by the temperature: the airmass is then told to within twice the error that it has alone. */
const mostInflation = 4;
/** The darkest sky may be so many times darker in a filter than the natural sky in V, where the light is that of V. */
const darkerFilter = 3;

/**
 * Checks the laws that are known to hold: background against predicted twilight and moonlight, star width against a power
 * of the airmass. Their course is known, so one number each is fitted, which tells far more than a free search among
 * factors: a night has one dusk and one moonrise.
 * @param level - share of nights without any of these effects on which one may be claimed
 * @param factors - held beside the airmass is the sensor's temperature, by which the focus moves, where the two are apart
 */
export function checkLaws(
  table: FrameTable,
  night: NightRows,
  level: number,
  factors: readonly FactorColumn[] = [],
): Explained {
  const temperature = factors.find(({ factor }) => factor.code === "sensor-temperature")?.values ?? null;
  const drafts = [...widthLaw(table, night, temperature), ...lightSeries(table, night).flatMap(lightLaws)];
  const adjusted = holm(drafts.map(({ p }) => p));
  const laws = drafts.map((draft, i): LawCheck => {
    const { series: _, ...rest } = draft;
    const { interval, predicted } = draft;
    const allowed = interval.low <= predicted.high && interval.high >= predicted.low;
    return { ...rest, adjustedP: adjusted[i], claimed: adjusted[i] <= level && allowed };
  });
  const found = { twilight: noLight(table.rows), moonlight: noLight(table.rows) };
  for (const series of new Set(drafts.flatMap((draft) => draft.series ?? []))) {
    const claimed = series.lights.filter((light) =>
      drafts.some((draft, i) => draft.series === series && draft.law === light.law && laws[i].claimed),
    );
    if (claimed.length > 0) addFound(series, claimed, found);
  }
  const width = laws.find(({ metric }) => metric === "fwhm");
  const widens = width === undefined || width.claimed || width.interval.high >= kolmogorov;
  return { laws, ...found, widthPower: widens ? kolmogorov : 0 };
}

function widthLaw(table: FrameTable, { rows, nightOf }: NightRows, temperature: Float64Array | null): Draft[] {
  const used = Array.from(rows.keys()).filter((i) => table.fwhmPx[rows[i]] > 0 && table.airmass[rows[i]] >= 1);
  const of = (value: (row: number) => number) => Float64Array.from(used, (i) => value(rows[i]));
  const x = of((row) => Math.log(table.airmass[row]));
  const [least, most] = extremes(x);
  if (used.length < 20 || !(most - least >= leastLogAirmass)) return [];
  const starts = startsOf(used.map((i) => nightOf[i]));
  const y = of((row) => Math.log(table.fwhmPx[row]));
  // Stars are wider in some filters than in others.
  const columns = [x, ...filterColumns(used.map((i) => table.filter[rows[i]]))];
  if (temperature !== null) {
    const held = Float64Array.from(used, (i) => temperature[i]);
    if (varianceInflation([withinNights(x, starts), held])[0] < mostInflation) columns.push(held);
  }
  const checked = checkedColumn(columns, 0, y, starts) ?? checkedColumn([x], 0, y, starts);
  if (checked === null) return [];
  return [
    {
      law: "airmass",
      metric: "fwhm",
      filter: "",
      exposureS: Number.NaN,
      levelAdu: Number.NaN,
      ...checked,
      predicted: powerRange,
      from: Math.exp(least),
      to: Math.exp(most),
      subs: used.length,
      nights: starts.length - 1,
      series: null,
    },
  ];
}

/** Subs whose backgrounds can be compared, with what is predicted for them. */
interface LightSeries {
  readonly filter: string;
  readonly exposureS: number;
  readonly rows: readonly number[];
  readonly starts: Int32Array;
  readonly background: Float64Array;
  readonly variance: Float64Array;
  readonly lights: readonly { readonly law: Exclude<LawCode, "airmass">; readonly x: Float64Array }[];
  /** The dark sky's own course with altitude, held beside the lights; empty when it hardly changes. */
  readonly held: readonly Float64Array[];
}

function lightSeries(table: FrameTable, { rows, nightOf }: NightRows): LightSeries[] {
  const groups = new Map<string, number[]>();
  rows.forEach((row, i) => {
    if (!(table.backgroundAdu[row] > 0 && table.noiseAdu[row] > 0)) return;
    const key = JSON.stringify([table.filter[row], table.exposureS[row], table.gainSetting[row], table.width[row]]);
    const group = groups.get(key);
    if (group === undefined) groups.set(key, [i]);
    else group.push(i);
  });
  return [...groups.values()].flatMap((group) => {
    const light = group.map((i) => predictedLight(conditionsOf(table, rows[i])));
    const placed = group.flatMap((i, k) => {
      const { twilight, moonlight, darkSky } = light[k];
      return Number.isFinite(twilight + moonlight + darkSky) ? [{ i, twilight, moonlight, darkSky }] : [];
    });
    if (placed.length < 20) return [];
    const own = placed.map(({ i }) => rows[i]);
    const lights = (["twilight", "moonlight"] as const).flatMap((law) => {
      const x = Float64Array.from(placed, (p) => p[law]);
      const least = extremes(x)[0];
      // One sub could be anything.
      return x.filter((v) => v - least > leastLight).length >= 3 ? [{ law, x }] : [];
    });
    if (lights.length === 0) return [];
    const darkSky = Float64Array.from(placed, (p) => p.darkSky);
    const [dimmest, brightest] = extremes(darkSky);
    return [
      {
        filter: table.filter[own[0]],
        exposureS: table.exposureS[own[0]],
        rows: own,
        starts: startsOf(placed.map(({ i }) => nightOf[i])),
        background: Float64Array.from(own, (row) => table.backgroundAdu[row]),
        variance: Float64Array.from(own, (row) => table.noiseAdu[row] ** 2),
        lights,
        held: brightest - dimmest > 0.02 ? [darkSky] : [],
      },
    ];
  });
}

function lightLaws(series: LightSeries): Draft[] {
  const { lights, held, background, starts } = series;
  const columns = [...lights.map(({ x }) => x), ...held];
  const checks = lights.map((_, i) => checkedColumn(columns, i, background, starts));
  return lights.flatMap(({ law, x }, i) => {
    const check = checks[i];
    if (check === null) return [];
    const without = background.map((value, k) =>
      lights.reduce((rest, other, j) => rest - Math.max(0, checks[j]?.estimate ?? 0) * other.x[k], value),
    );
    const levelAdu = median(without);
    const [from, to] = extremes(x);
    const range = to - from;
    return [
      {
        law,
        metric: "background" as const,
        filter: series.filter,
        exposureS: series.exposureS,
        estimate: check.estimate * range,
        interval: { low: check.interval.low * range, high: check.interval.high * range },
        levelAdu,
        p: check.p,
        predicted: { low: 0, high: (darkerFilter * levelAdu * range) / naturalNanolambert },
        from,
        to,
        subs: series.rows.length,
        nights: starts.length - 1,
        series,
      },
    ];
  });
}

/** A column's coefficient; its p-value is the larger one of with and without the value that counts most. */
function checkedColumn(
  columns: readonly Float64Array[],
  index: number,
  y: Float64Array,
  starts: Int32Array,
): Pick<LawCheck, "estimate" | "interval" | "p"> | null {
  const all = averagedRegression(columns, y, starts)?.[index];
  if (all === undefined) return null;
  const x = columns[index];
  const middle = median(x);
  let far = 0;
  x.forEach((v, i) => {
    if (Math.abs(v - middle) > Math.abs(x[far] - middle)) far = i;
  });
  const without = (values: Float64Array) => values.filter((_, i) => i !== far);
  const fewer = averagedRegression(
    columns.map(without),
    without(y),
    starts.map((start) => (start > far ? start - 1 : start)),
  )?.[index];
  return { estimate: all.estimate, interval: all.interval, p: Math.max(all.pCautious, fewer?.pCautious ?? 1) };
}

const noLight = (rows: number): LightFound => ({
  predicted: new Float64Array(rows),
  backgroundAdu: new Float64Array(rows),
  varianceAdu2: new Float64Array(rows),
});

function addFound(
  { rows, starts, held, background, variance }: LightSeries,
  lights: LightSeries["lights"],
  found: Record<Exclude<LawCode, "airmass">, LightFound>,
): void {
  const columns = [...lights.map(({ x }) => x), ...held];
  const [fit, noiseFit] = [background, variance].map((y) => averagedRegression(columns, y, starts));
  lights.forEach(({ law, x }, i) => {
    const least = extremes(x)[0];
    rows.forEach((row, k) => {
      found[law].predicted[row] = x[k];
      found[law].backgroundAdu[row] = Math.max(0, fit?.[i].estimate ?? 0) * (x[k] - least);
      found[law].varianceAdu2[row] = Math.max(0, noiseFit?.[i].estimate ?? 0) * (x[k] - least);
    });
  });
}

function filterColumns(filters: readonly string[]): Float64Array[] {
  const names = [...new Set(filters)].filter((name) => filters.filter((f) => f === name).length >= 8);
  return names.slice(1).map((name) => Float64Array.from(filters, (f) => Number(f === name)));
}

function startsOf(nights: readonly number[]): Int32Array {
  const starts = nights.flatMap((night, i) => (i === 0 || night !== nights[i - 1] ? [i] : []));
  return Int32Array.from([...starts, nights.length]);
}

const extremes = (values: Float64Array): [number, number] =>
  values.reduce<[number, number]>(
    ([low, high], v) => [Math.min(low, v), Math.max(high, v)],
    [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY],
  );

function withinNights(values: Float64Array, starts: Int32Array): Float64Array {
  const result = values.slice();
  for (let s = 0; s + 1 < starts.length; s++) {
    const night = result.subarray(starts[s], starts[s + 1]);
    const mean = night.reduce((sum, v) => sum + v, 0) / night.length;
    night.forEach((v, i) => {
      night[i] = v - mean;
    });
  }
  return result;
}
