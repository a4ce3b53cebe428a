import { type Group, groupsOf } from "../grade/groups.js";
import { quantile } from "../numbers/quantiles.js";
import type { FrameTable } from "../terms/frame-table.js";
import { type Signs, signsOf } from "./causes-signs.js";
import type { CauseOptions } from "./causes-terms.js";
import { nightRowsOf } from "./drivers-nights.js";
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

/** Set point of a cooled sensor: where its temperature stayed for most of the time; NaN when it did not stay. */
function setPointOf(temperature: ArrayLike<number>): number {
  const low = quantile(temperature, 0.02);
  const kept = Array.from(temperature).filter((c) => c < low + steadyC).length;
  return kept >= 0.3 * temperature.length && kept >= 3 ? low : Number.NaN;
}

function warmEpisodes(table: FrameTable): WarmEpisode[] {
  const night = nightRowsOf(table);
  const found: WarmEpisode[] = [];
  for (let n = 0; n < night.nights; n++) {
    const rows = Array.from(night.rows).filter((_, i) => night.nightOf[i] === n);
    const known = rows.filter((row) => Number.isFinite(table.sensorTempC[row]));
    const setPointC = setPointOf(known.map((row) => table.sensorTempC[row]));
    if (Number.isNaN(setPointC)) continue;
    let from = -1;
    for (let i = 0; i <= known.length; i++) {
      const warm = i < known.length && table.sensorTempC[known[i]] > setPointC + warmC;
      if (warm && from < 0) from = i;
      if (warm || from < 0) continue;
      const members = known.slice(from, i);
      found.push({
        kind: from === 0 ? "warm-up" : "fan-off",
        startUtc: table.startUtc[members[0]],
        endUtc: table.startUtc[members[members.length - 1]],
        rows: members,
        warmestC: Math.max(...members.map((row) => table.sensorTempC[row])),
        setPointC,
      });
      from = -1;
    }
  }
  return found;
}
