import { median, quantile } from "../numbers/quantiles.js";
import { theilSen } from "../numbers/theil-sen.js";
import type { FrameTable } from "../terms/frame-table.js";
import { readNoiseInElectrons } from "./calibration-noise.js";
import { type Calibration, calibrationOf, gainOfFlats } from "./calibration-rows.js";
import { darkByDoubling } from "./dark-current.js";
import { isKept } from "./nights.js";

/** What the user or the headers say of the camera. */
export interface CameraGiven {
  readonly electronsPerAdu?: number;
  readonly readNoiseE?: number;
  /** Level of a frame without light and time, ADU. */
  readonly pedestalAdu?: number;
  /** e-/s/px at `darkAtC`, or at any temperature without it. */
  readonly darkEPerS?: number;
  readonly darkAtC?: number;
}

/** Where a number of the model comes from. */
export type NumberSource =
  | "given"
  | "bias-frames"
  | "dark-frames"
  | "flat-frames"
  | "photon-transfer"
  | "exposure-lengths";
export interface Sourced {
  readonly value: number;
  readonly from: NumberSource;
  /** Standard error, where it is known. */
  readonly error?: number;
}

/** The noise of one filter's subs. NaN: it cannot be told; `missing` says what would tell it. */
export interface NoiseModel {
  readonly filter: string;
  readonly gainSetting: number;
  /** The usual exposure, s. */
  readonly exposureS: number;
  /** How many subs it was taken from. */
  readonly subs: number;
  readonly sensorTempC: number;
  /** Noise of a pixel's background in one sub, ADU. */
  readonly noiseAdu: number;
  readonly electronsPerAdu: Sourced | null;
  readonly readNoiseE: Sourced | null;
  readonly pedestalAdu: Sourced | null;
  readonly darkEPerS: Sourced | null;
  /** Sky and dark together: the rate at which the background's variance grows, e-/s/px. */
  readonly backgroundEPerS: number;
  /** Sky alone, e-/s/px; equals the background where the dark current is not known. */
  readonly skyEPerS: number;
  /** Read noise's part of the variance of one sub, 0 to 1: known without e-/ADU in some cases. */
  readonly readShare: number;
  /** Time in which the background makes as much variance as one read-out, s: read noise^2 / background. */
  readonly readTimeS: number;
  /** The same in the brightest and in the darkest tenth of the subs. */
  readonly readTimeRangeS: { readonly low: number; readonly high: number };
  /** What to give so that the rest becomes known, most useful first. */
  readonly missing: readonly ("read-noise" | "electrons-per-adu" | "pedestal")[];
}

/**
 * The noise of each filter from the subs themselves. With e-/ADU g and read noise R the measured noise s of the
 * background gives
 * the rate of its variance, (g^2 s^2 - R^2) / t, without any pedestal. What is missing is looked for in turn: in bias,
 * flat and
 * dark frames of the table (where pairs of them were measured, see `pairNoise`), in the growth of the variance with the level (photon transfer,
 * needs a sky that changed), in subs of different lengths. Nothing is assumed.
 * @example
 * ```ts
 * import { noiseModels } from "nightyield";
 * for (const { filter, readShare, missing } of noiseModels(table, { electronsPerAdu: 1.3, readNoiseE: 1.7 })) console.log(filter, readShare, missing);
 * ```
 */
export function noiseModels(table: FrameTable, given: CameraGiven = {}): NoiseModel[] {
  const sets = new Map<string, number[]>();
  for (let row = 0; row < table.rows; row++) {
    if (!isKept(table, row) || !(table.noiseAdu[row] > 0) || !(table.exposureS[row] > 0)) continue;
    if (table.saturatedFraction[row] > 0.2) continue;
    const key = JSON.stringify([table.filter[row], table.gainSetting[row]]);
    const set = sets.get(key);
    if (set === undefined) sets.set(key, [row]);
    else set.push(row);
  }
  return [...sets.values()].map((rows) => modelOf(table, rows, given));
}

function modelOf(table: FrameTable, rows: readonly number[], given: CameraGiven): NoiseModel {
  const [first] = rows;
  const exposureS = usual(rows.map((row) => table.exposureS[row]));
  const same = rows.filter((row) => table.exposureS[row] === exposureS);
  const sensorTempC = median(same.map((row) => table.sensorTempC[row]));
  const bias = calibrationOf(table, "bias", first);
  const lengths = lengthsOf(table, rows);
  const pedestalAdu =
    sourced(given.pedestalAdu, "given") ??
    sourced(bias?.levelAdu, "bias-frames") ??
    sourced(lengths?.levelAtZero, "exposure-lengths");
  const electronsPerAdu =
    sourced(given.electronsPerAdu, "given") ??
    gainOfFlats(table, first) ??
    sourced(photonTransferGain(table, same), "photon-transfer");
  const noise = median(same.map((row) => table.noiseAdu[row]));
  const level = median(same.map((row) => table.backgroundAdu[row]));
  const gain = electronsPerAdu?.value ?? Number.NaN;
  const readNoiseE =
    sourced(given.readNoiseE, "given") ??
    inElectrons(bias, electronsPerAdu) ??
    sourced(lengths === null ? undefined : Math.sqrt(lengths.varianceAtZero) * gain, "exposure-lengths") ??
    sourced(Math.sqrt((gain * noise) ** 2 - gain * (level - (pedestalAdu?.value ?? Number.NaN))), "photon-transfer");
  const darkEPerS = darkOf(table, given, sensorTempC, first, gain, pedestalAdu?.value ?? Number.NaN);
  const read2 = (readNoiseE?.value ?? Number.NaN) ** 2;
  const byNoise = ((gain * noise) ** 2 - read2) / exposureS;
  const byLevel = (gain * (level - (pedestalAdu?.value ?? Number.NaN))) / exposureS;
  const backgroundEPerS = firstFinite(byNoise > 0 ? byNoise : Number.NaN, byLevel > 0 ? byLevel : Number.NaN);
  // Without e-/ADU the shares are still known from noise alone, in ADU.
  const readAdu2 = bias !== null ? bias.noiseAdu ** 2 : (lengths?.varianceAtZero ?? Number.NaN);
  const readShare = clampShare(firstFinite(read2 / (read2 + backgroundEPerS * exposureS), readAdu2 / noise ** 2));
  const readTimeS = (exposureS * readShare) / (1 - readShare);
  // Variance that is not read noise, in the darkest and the brightest tenth against the median.
  const ofMedian = (p: number) =>
    (quantile(
      same.map((row) => table.noiseAdu[row] ** 2),
      p,
    ) /
      noise ** 2 -
      readShare) /
    (1 - readShare);
  return {
    filter: table.filter[first],
    gainSetting: table.gainSetting[first],
    exposureS,
    subs: same.length,
    sensorTempC,
    noiseAdu: noise,
    electronsPerAdu,
    readNoiseE,
    pedestalAdu,
    darkEPerS,
    backgroundEPerS,
    skyEPerS: Math.max(0, backgroundEPerS - (darkEPerS?.value ?? 0)),
    readShare,
    readTimeS,
    readTimeRangeS: { low: readTimeS / ofMedian(0.9), high: readTimeS / ofMedian(0.1) },
    missing: Number.isNaN(readShare) ? missingFor(electronsPerAdu, readNoiseE, pedestalAdu) : [],
  };
}

function missingFor(gain: Sourced | null, read: Sourced | null, pedestal: Sourced | null): NoiseModel["missing"] {
  if (gain === null) return read === null ? ["electrons-per-adu", "read-noise"] : ["electrons-per-adu"];
  return read === null ? ["read-noise"] : pedestal === null ? ["pedestal"] : [];
}

/**
 * e-/ADU from how the variance grows with the level, between subs of one exposure: 1 / slope. Only where the sky
 * changed enough
 * for the slope to be known to a fifth.
 */
function photonTransferGain(table: FrameTable, rows: readonly number[]): number {
  const usable = rows.filter(
    (row) => Number.isFinite(table.backgroundAdu[row]) && !(table.blockedFraction[row] > 0.02),
  );
  if (usable.length < 20) return Number.NaN;
  const order = usable.sort((a, b) => table.backgroundAdu[a] - table.backgroundAdu[b]);
  const variance = order.map((row) => table.noiseAdu[row] ** 2);
  if (!(quantile(variance, 0.95) / quantile(variance, 0.05) > 1.3)) return Number.NaN;
  // Medians of up to 60 groups of neighbours: fewer pairs, and single bad subs vanish.
  const perBin = Math.max(1, Math.floor(order.length / 60));
  const bins: { level: number; variance: number }[] = [];
  for (let i = 0; i + perBin <= order.length; i += perBin)
    bins.push({
      level: median(order.slice(i, i + perBin).map((row) => table.backgroundAdu[row])),
      variance: median(variance.slice(i, i + perBin)),
    });
  const slopeOf = (of: typeof bins) =>
    new Set(of.map(({ level }) => level)).size < 2
      ? Number.NaN
      : theilSen(
          of.map(({ level }) => level),
          of.map((bin) => bin.variance),
        ).slope;
  const slope = slopeOf(bins);
  const halves = [0, 1].map((odd) => slopeOf(bins.filter((_, i) => i % 2 === odd)));
  return slope > 0 && halves.every((half) => Math.abs(half / slope - 1) < 0.2) ? 1 / slope : Number.NaN;
}

/**
 * Level and variance at zero exposure, from medians of the shortest and the longest length, at least 1.5 times apart.
 */
function lengthsOf(table: FrameTable, rows: readonly number[]): { levelAtZero: number; varianceAtZero: number } | null {
  const byLength = new Map<number, number[]>();
  for (const row of rows) byLength.set(table.exposureS[row], [...(byLength.get(table.exposureS[row]) ?? []), row]);
  const usable = [...byLength].filter(([, of]) => of.length >= 3).sort(([a], [b]) => a - b);
  if (usable.length < 2) return null;
  const [shortS, short] = usable[0];
  const [longS, long] = usable[usable.length - 1];
  if (longS < 1.5 * shortS) return null;
  const atZero = (of: (row: number) => number) => {
    const [a, b] = [median(short.map(of)), median(long.map(of))];
    return a - ((b - a) * shortS) / (longS - shortS);
  };
  const varianceAtZero = atZero((row) => table.noiseAdu[row] ** 2);
  const levelAtZero = atZero((row) => table.backgroundAdu[row]);
  // The sky may have changed between the lengths; a negative variance says that it has.
  return varianceAtZero > 0 ? { levelAtZero, varianceAtZero } : null;
}

/** Read noise of bias frames in electrons. */
function inElectrons(bias: Calibration | null, gain: Sourced | null): Sourced | null {
  if (bias === null || gain === null) return null;
  const { value, error } = readNoiseInElectrons(bias, { value: gain.value, error: gain.error ?? 0 });
  return { value, from: "bias-frames", error };
}

function darkOf(
  table: FrameTable,
  given: CameraGiven,
  sensorTempC: number,
  like: number,
  gain: number,
  pedestalAdu: number,
): Sourced | null {
  const { darkEPerS, darkAtC } = given;
  if (darkEPerS !== undefined) {
    const moved = darkAtC !== undefined && Number.isFinite(sensorTempC);
    return { value: moved ? darkByDoubling(darkEPerS, darkAtC, sensorTempC) : darkEPerS, from: "given" };
  }
  const dark = calibrationOf(table, "dark", like);
  if (dark === null) return null;
  const rate = (gain * (dark.levelAdu - pedestalAdu)) / dark.exposureS;
  const at = Number.isFinite(sensorTempC) && Number.isFinite(dark.sensorTempC);
  return sourced(at ? darkByDoubling(rate, dark.sensorTempC, sensorTempC) : rate, "dark-frames");
}

/** The most frequent value. */
function usual(values: readonly number[]): number {
  const counts = new Map<number, number>();
  for (const value of values) counts.set(value, (counts.get(value) ?? 0) + 1);
  return [...counts].sort(([, a], [, b]) => b - a)[0][0];
}

const sourced = (value: number | undefined, from: NumberSource): Sourced | null =>
  value !== undefined && Number.isFinite(value) && value >= 0 ? { value, from } : null;
const firstFinite = (...values: readonly number[]) => values.find(Number.isFinite) ?? Number.NaN;
const clampShare = (share: number) => (share >= 0 && share < 1 ? share : Number.NaN);
