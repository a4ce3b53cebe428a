import { type Group, groupsOf } from "../grade/groups.js";
import { median, quantile } from "../numbers/quantiles.js";
import { medianAndSigma } from "../numbers/robust.js";
import type { FrameTable } from "../terms/frame-table.js";
import { type Signs, signsOf } from "./causes-signs.js";
import type { CauseOptions } from "./causes-terms.js";
import { hourOfUtc, nightRowsOf } from "./drivers-nights.js";
import { type DarkCurve, type DarkNoise, type Doubling, fitDarkNoise, fitHotPixels } from "./sensor-fit.js";

/** A time in which a cooled sensor was warmer than its set point. */
export interface WarmEpisode {
  /** `warm-up`: it had not cooled down yet when the night began; `fan-off`: it grew warmer later. */
  readonly kind: "warm-up" | "fan-off";
  readonly startUtc: string;
  readonly endUtc: string;
  readonly rows: readonly number[];
  readonly warmestC: number;
  readonly setPointC: number;
}

/** Temperature and noise of one group of comparable subs. */
export interface GroupSensor {
  readonly target: string;
  readonly filter: string;
  readonly exposureS: number;
  /** null: temperature varied too little, or nothing of it shows in the noise. */
  readonly darkNoise: DarkNoise | null;
  readonly hotPixels: Doubling | null;
  /** What cooling to `coolC` would have added, effective exposure, s; NaN without `darkNoise`. */
  readonly coolingSavesS: number;
  /** Its standard error, by that of the doubling interval. */
  readonly coolingSavesErrorS: number;
  readonly coolC: number;
}

/** What the sensor's temperature did. */
export interface SensorReport {
  readonly groups: readonly GroupSensor[];
  readonly episodes: readonly WarmEpisode[];
}

export interface SensorOptions extends CauseOptions {
  /** Temperature to compare with, deg C. Left out: the set point of a cooled sensor, else 15 C below the night's median. */
  readonly coolC?: number;
}

/** A cooled sensor keeps to its set point within this for most of the night. */
const steadyC = 1;
const warmC = 2;
/** While it is held, its halves differ by no more than this in the median, and it wavers by no more. */
const mostDriftC = 0.15;
const mostSpreadC = 0.3;
/** A sensor cools down and warms up in minutes, 63 % of the way at least at this rate; the air never does. */
const leastRateCPerH = 10;

/**
 * How dark noise and hot pixels go with the sensor's temperature, when a cooled sensor was warm, and what cooling would
 * have saved. Only clear, dark, unblocked subs count for the fits.
 * @param table - graded; with causes, as {@link causesOf} gives it, subs that the warm sensor spoiled are counted as well
 * @example
 * ```ts
 * import { sensorOf } from "nightyield";
 * for (const { startUtc, warmestC, setPointC } of sensorOf(table).episodes) console.log(startUtc, warmestC, setPointC);
 * ```
 */
export function sensorOf(table: FrameTable, options: SensorOptions = {}): SensorReport {
  const told = { darkZenithMag: 20.5, extinctionMagPerAirmass: 0.25, ...options };
  return {
    groups: groupsOf(table).flatMap((group) => groupSensor(table, group, signsOf(table, group, told, null), options)),
    episodes: warmEpisodes(table),
  };
}

function groupSensor(table: FrameTable, group: Group, signs: readonly Signs[], options: SensorOptions): GroupSensor[] {
  const clear = signs.filter(
    ({ row, losses, sky }) =>
      Number.isFinite(table.sensorTempC[row]) &&
      table.noiseAdu[row] > 0 &&
      losses.light < 0.15 &&
      losses.blocked < 0.03 &&
      sky.twilight < 0.3,
  );
  const at = (column: ArrayLike<number>) => Float64Array.from(clear, ({ row }) => column[row]);
  const temperature = at(table.sensorTempC);
  if (temperature.length === 0) return [];
  const darkNoise = fitDarkNoise(
    temperature,
    Float64Array.from(clear, ({ sky }) => sky.twilight + sky.moon + sky.air),
    at(table.noiseAdu).map((n) => n * n),
  );
  const setPoint = setPointOf(temperature);
  const coolC = options.coolC ?? (Number.isNaN(setPoint) ? quantile(temperature, 0.5) - 15 : setPoint);
  const { target, filter, exposureS } = group;
  const saves = (dark: DarkCurve) => savedByCooling(table, group, dark, coolC);
  return [
    {
      target,
      filter,
      exposureS,
      darkNoise,
      hotPixels: fitHotPixels(temperature, at(table.hotPixels)),
      coolingSavesS: darkNoise === null ? Number.NaN : saves(darkNoise),
      coolingSavesErrorS:
        darkNoise === null ? Number.NaN : Math.abs(saves(darkNoise.ends[0]) - saves(darkNoise.ends[1])) / 2,
      coolC,
    },
  ];
}

/**
 * Effective exposure goes with one over the variance: what is left of it without the dark current that cooling avoids.
 * Of dropped subs only those count that the warm sensor spoiled, where causes were filled in; they are gained whole.
 */
function savedByCooling(table: FrameTable, { rows }: Group, dark: DarkCurve, coolC: number): number {
  const darkAt = (c: number) => dark.varianceAdu2 * 2 ** ((c - dark.fromC) / dark.intervalC);
  return rows.reduce((sum, row) => {
    const [c, noise] = [table.sensorTempC[row], table.noiseAdu[row]];
    const kept = table.verdict[row] === "keep" || table.verdict[row] === "borderline";
    const counts = kept || table.cause[row] === "warm-sensor";
    if (!counts || !(c > coolC) || !(noise > 0)) return sum;
    const variance = noise * noise;
    const cooled = Math.max(0.1 * variance, variance - darkAt(c) + darkAt(coolC));
    const saved = table.effectiveExposureS[row] * (variance / cooled - Number(kept));
    return sum + (Number.isFinite(saved) ? saved : 0);
  }, 0);
}

/**
 * Set point of a cooled sensor: where its temperature was held for most of the time; NaN when it was not held. Air that
 * levels off towards the morning stays within a degree too, but it goes on falling there, and wavers.
 * @param temperature - in time
 */
function setPointOf(temperature: ArrayLike<number>): number {
  const low = quantile(temperature, 0.02);
  const kept = Float64Array.from(temperature).filter((c) => c < low + steadyC);
  if (kept.length < 0.3 * temperature.length || kept.length < 3) return Number.NaN;
  const half = Math.ceil(kept.length / 2);
  const drift = Math.abs(median(kept.subarray(0, half)) - median(kept.subarray(kept.length - half)));
  return drift <= mostDriftC && medianAndSigma(kept).sigma <= mostSpreadC ? low : Number.NaN;
}

function warmEpisodes(table: FrameTable): WarmEpisode[] {
  const night = nightRowsOf(table);
  const found: WarmEpisode[] = [];
  for (let n = 0; n < night.nights; n++) {
    const rows = Array.from(night.rows).filter((_, i) => night.nightOf[i] === n);
    const known = rows.filter((row) => Number.isFinite(table.sensorTempC[row]));
    const setPointC = setPointOf(known.map((row) => table.sensorTempC[row]));
    if (Number.isNaN(setPointC)) continue;
    const above = (i: number) => table.sensorTempC[known[i]] - setPointC;
    for (let from = 0; from < known.length; from++) {
      if (!(above(from) > warmC)) continue;
      // It lasts until the set point is reached again, but what is within the limit by then is not counted.
      let back = from;
      while (back < known.length && above(back) > steadyC) back++;
      let to = back;
      while (!(above(to - 1) > warmC)) to--;
      const [start, members] = [from, known.slice(from, to)];
      from = back;
      // Time runs backwards in a warm-up: it ends at the set point.
      const away = start === 0 ? known.slice(0, back + 1).reverse() : known.slice(start - 1, to);
      if (rateCPerH(table, away, setPointC) < leastRateCPerH) continue;
      found.push({
        kind: start === 0 ? "warm-up" : "fan-off",
        startUtc: table.startUtc[members[0]],
        endUtc: table.startUtc[members[members.length - 1]],
        rows: members,
        warmestC: Math.max(...members.map((row) => table.sensorTempC[row])),
        setPointC,
      });
    }
  }
  return found;
}

/** How fast it went the first 63 % from the set point to the farthest, C/h, in the order of the rows. */
function rateCPerH(table: FrameTable, rows: readonly number[], setPointC: number): number {
  const above = rows.map((row) => table.sensorTempC[row] - setPointC);
  const part = (1 - Math.exp(-1)) * Math.max(...above);
  const reached = above.findIndex((c) => c >= part);
  const hourOf = (row: number) => hourOfUtc(table.startUtc[row]);
  const hours = Math.abs(hourOf(rows[reached]) - hourOf(rows[0]));
  return hours > 0 ? (above[reached] - above[0]) / hours : Number.POSITIVE_INFINITY;
}
