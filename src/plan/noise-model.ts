import type { SaidNumber } from "../measure/sub-facts.js";
import { median, quantile } from "../numbers/quantiles.js";
import type { FrameTable } from "../terms/frame-table.js";
import { readNoiseInElectrons } from "./calibration-noise.js";
import { biasOf, type Calibration, darksOf, gainOfFlats } from "./calibration-rows.js";
import { darkByDoubling } from "./dark-current.js";
import { isKept } from "./nights.js";
import { lengthsOf, photonTransferGain } from "./noise-of-subs.js";
import { type DarkReadNoise, readNoiseOfDarks } from "./read-noise-of-darks.js";
import { type SaidOfSubs, saidFor } from "./said-camera.js";
import { usualOf } from "./usual.js";

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
  /** Given when the subs were measured, as in a site file. */
  | "given-to-triage"
  | "headers"
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
  /** The value is an upper bound. */
  readonly bound?: "at-most";
  /** What the headers say, where that is more than a tenth off. */
  readonly headersSay?: number;
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
  /** `at-most`: the read noise is an upper bound, from dark frames; so are its share and `readTimeS`. */
  readonly readShareBound: "at-most" | null;
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
 * the rate of its variance, (g^2 s^2 - R^2) / t, without any pedestal. What is not given is looked for in turn: in bias,
 * flat and dark frames of the table (where pairs of them were measured, see `pairNoise`), in what headers say, in the
 * growth of the variance with the level (photon transfer, needs a sky that changed), in subs of different lengths.
 * Nothing is assumed.
 * @param given - what the user says now; it wins
 * @param said - what headers, or the user when the subs were measured, said of the camera
 * @example
 * ```ts
 * import { noiseModels } from "nightyield";
 * for (const { filter, readShare, missing } of noiseModels(table, { electronsPerAdu: 1.3, readNoiseE: 1.7 })) console.log(filter, readShare, missing);
 * ```
 */
export function noiseModels(
  table: FrameTable,
  given: CameraGiven = {},
  said: readonly SaidOfSubs[] = [],
): NoiseModel[] {
  const sets = new Map<string, number[]>();
  for (let row = 0; row < table.rows; row++) {
    if (!isKept(table, row) || !(table.noiseAdu[row] > 0) || !(table.exposureS[row] > 0)) continue;
    if (table.saturatedFraction[row] > 0.2) continue;
    const key = JSON.stringify([table.filter[row], table.gainSetting[row]]);
    const set = sets.get(key);
    if (set === undefined) sets.set(key, [row]);
    else set.push(row);
  }
  return [...sets.values()].map((rows) => modelOf(table, rows, given, said));
}

function modelOf(
  table: FrameTable,
  rows: readonly number[],
  given: CameraGiven,
  saidOfAll: readonly SaidOfSubs[],
): NoiseModel {
  const [first] = rows;
  const exposureS = usualOf(rows.map((row) => table.exposureS[row]));
  const same = rows.filter((row) => table.exposureS[row] === exposureS);
  const sensorTempC = median(same.map((row) => table.sensorTempC[row]));
  const said = saidFor(saidOfAll, table.filter[first], table.gainSetting[first]);
  const bias = biasOf(table, first);
  const darks = darksOf(table, first);
  const ofDarks = readNoiseOfDarks(darks);
  const lengths = lengthsOf(table, rows);
  const pedestalAdu =
    sourced(given.pedestalAdu, "given") ??
    by(said.pedestalAdu, "given") ??
    sourced(bias?.levelAdu, "bias-frames") ??
    sourced(ofDarks?.pedestalAdu, "dark-frames") ??
    by(said.pedestalAdu, "header") ??
    sourced(lengths?.levelAtZero, "exposure-lengths");
  const electronsPerAdu =
    sourced(given.electronsPerAdu, "given") ??
    by(said.electronsPerAdu, "given") ??
    against(gainOfFlats(table, first), said.electronsPerAdu) ??
    by(said.electronsPerAdu, "header") ??
    sourced(photonTransferGain(table, same), "photon-transfer");
  const noise = median(same.map((row) => table.noiseAdu[row]));
  const level = median(same.map((row) => table.backgroundAdu[row]));
  const gain = electronsPerAdu?.value ?? Number.NaN;
  const readNoiseE =
    sourced(given.readNoiseE, "given") ??
    by(said.readNoiseE, "given") ??
    against(inElectrons(bias, "bias-frames", electronsPerAdu), said.readNoiseE) ??
    darksOrHeaders(inElectrons(ofDarks, "dark-frames", electronsPerAdu), said.readNoiseE) ??
    sourced(lengths === null ? undefined : Math.sqrt(lengths.varianceAtZero) * gain, "exposure-lengths") ??
    sourced(Math.sqrt((gain * noise) ** 2 - gain * (level - (pedestalAdu?.value ?? Number.NaN))), "photon-transfer");
  const darkEPerS = darkOf(darks, given, sensorTempC, gain, pedestalAdu?.value ?? Number.NaN);
  const read2 = (readNoiseE?.value ?? Number.NaN) ** 2;
  const byNoise = ((gain * noise) ** 2 - read2) / exposureS;
  const byLevel = (gain * (level - (pedestalAdu?.value ?? Number.NaN))) / exposureS;
  const backgroundEPerS = firstFinite(byNoise > 0 ? byNoise : Number.NaN, byLevel > 0 ? byLevel : Number.NaN);
  // Without e-/ADU the shares are still known from noise alone, in ADU.
  const inAdu = bias ?? ofDarks;
  const readAdu2 = inAdu !== null ? inAdu.noiseAdu ** 2 : (lengths?.varianceAtZero ?? Number.NaN);
  const ofElectrons = read2 / (read2 + backgroundEPerS * exposureS);
  const readShare = clampShare(firstFinite(ofElectrons, readAdu2 / noise ** 2));
  const bounded = Number.isFinite(ofElectrons) ? readNoiseE?.bound : bias === null && ofDarks?.bound;
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
    readShareBound: bounded === "at-most" ? "at-most" : null,
    readTimeS,
    readTimeRangeS: { low: readTimeS / ofMedian(0.9), high: readTimeS / ofMedian(0.1) },
    missing: Number.isNaN(readShare) ? missingFor(electronsPerAdu, readNoiseE, pedestalAdu) : [],
  };
}

function missingFor(gain: Sourced | null, read: Sourced | null, pedestal: Sourced | null): NoiseModel["missing"] {
  if (gain === null) return read === null ? ["electrons-per-adu", "read-noise"] : ["electrons-per-adu"];
  return read === null ? ["read-noise"] : pedestal === null ? ["pedestal"] : [];
}

/** Read noise of bias or dark frames in electrons. */
function inElectrons(
  frames: Calibration | DarkReadNoise | null,
  from: "bias-frames" | "dark-frames",
  gain: Sourced | null,
): Sourced | null {
  if (frames === null || gain === null) return null;
  const { value, error } = readNoiseInElectrons(frames, { value: gain.value, error: gain.error ?? 0 });
  return { value, from, error, ...("bound" in frames && frames.bound === "at-most" && { bound: "at-most" }) };
}

/** Darks that only give an upper bound yield to what the headers say, unless that is beyond the bound. */
function darksOrHeaders(darks: Sourced | null, said: SaidNumber | null): Sourced | null {
  const headers = by(said, "header");
  if (darks === null) return headers;
  if (darks.bound === undefined || headers === null || headers.value > 1.05 * darks.value) return against(darks, said);
  return headers;
}

/** A measured number, with what the headers say where that is clearly something else. */
function against(measured: Sourced | null, said: SaidNumber | null): Sourced | null {
  if (measured === null || said === null || Math.abs(said.value / measured.value - 1) <= 0.1) return measured;
  return { ...measured, headersSay: said.value };
}

function by(said: SaidNumber | null, from: SaidNumber["from"]): Sourced | null {
  if (said === null || said.from !== from) return null;
  return sourced(said.value, from === "header" ? "headers" : "given-to-triage");
}

function darkOf(
  darks: readonly Calibration[],
  given: CameraGiven,
  sensorTempC: number,
  gain: number,
  pedestalAdu: number,
): Sourced | null {
  const { darkEPerS, darkAtC } = given;
  if (darkEPerS !== undefined) {
    const moved = darkAtC !== undefined && Number.isFinite(sensorTempC);
    return { value: moved ? darkByDoubling(darkEPerS, darkAtC, sensorTempC) : darkEPerS, from: "given" };
  }
  // The longest has the most charge.
  const dark = darks.at(-1);
  if (dark === undefined) return null;
  const rate = (gain * (dark.levelAdu - pedestalAdu)) / dark.exposureS;
  const at = Number.isFinite(sensorTempC) && Number.isFinite(dark.sensorTempC);
  return sourced(at ? darkByDoubling(rate, dark.sensorTempC, sensorTempC) : rate, "dark-frames");
}

const sourced = (value: number | undefined, from: NumberSource): Sourced | null =>
  value !== undefined && Number.isFinite(value) && value >= 0 ? { value, from } : null;
const firstFinite = (...values: readonly number[]) => values.find(Number.isFinite) ?? Number.NaN;
const clampShare = (share: number) => (share >= 0 && share < 1 ? share : Number.NaN);
