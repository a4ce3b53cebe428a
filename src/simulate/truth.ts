import { quantile } from "../numbers/quantiles.js";
import { type CauseCode, causeCodes } from "../terms/causes.js";
import { type EcsvColumn, writeEcsvColumns } from "../terms/ecsv.js";
import type { FrameKind, Verdict } from "../terms/verdicts.js";
import type { Conditions } from "./conditions.js";
import { causeOfLabel, type Label } from "./event-shapes.js";

/** What is true of one file. NaN: has no meaning for it. */
export interface FrameTruth {
  readonly file: string;
  readonly kind: FrameKind;
  readonly target: string;
  readonly filter: string;
  readonly startUtc: string;
  readonly exposureS: number;
  readonly sensorTempC: number;
  /** Starlight relative to a clear sky, extinction not counted. */
  readonly transparency: number;
  /** Mean of the sky in the frame's middle. */
  readonly skyEPerSPx: number;
  readonly darkEPerSPx: number;
  readonly fwhmPx: number;
  readonly hfrPx: number;
  readonly ellipticity: number;
  readonly elongationAngleDeg: number;
  readonly starsSnr5: number;
  readonly starsSnr10: number;
  readonly saturatedPixels: number;
  readonly streaks: number;
  readonly blockedFraction: number;
  readonly shiftXPx: number;
  readonly shiftYPx: number;
  /** Against the first frame of the target in this night, from +x towards +y. */
  readonly rotationDeg: number;
  readonly altitudeDeg: number;
  readonly azimuthDeg: number;
  readonly airmass: number;
  readonly sunAltitudeDeg: number;
  readonly moonAltitudeDeg: number;
  /** exposure x (T/T0)^2 x (B0/B); 0: the best tenth of the target and filter. */
  readonly effectiveExposureS: number;
  /** The same for point sources: times (FWHM0/FWHM)^2. */
  readonly effectivePointExposureS: number;
  readonly verdict: Verdict;
  /** What costs the frame most; empty when nothing costs it more than a tenth. */
  readonly cause: CauseCode | "";
  /** All that happens to the frame, separated by semicolons. */
  readonly events: string;
}

/** What the verdict and the effective exposure of a frame depend on. */
export interface Worth {
  /** Frames are compared within target, filter and exposure. */
  readonly group: string;
  readonly exposureS: number;
  readonly conditions: Conditions;
}

/** Effective exposures and verdict of one frame. */
export interface Graded {
  readonly effectiveExposureS: number;
  readonly effectivePointExposureS: number;
  readonly verdict: Verdict;
}

/**
 * Effective exposures and true verdicts of a night's light frames.
 *
 * A sub is to be dropped when, for point sources, its normalised variance u exceeds mean(u) (2 + 1/n) of the best stack's
 * subs, so that it costs an equal-weight stack more than it gives; or when a tenth of it is blocked, its stars are
 * drawn out beyond an ellipticity of 0.5, or it shows less than three quarters of the field. It is borderline from 0.7
 * of that limit, or from an ellipticity of 0.35, on.
 */
export function gradeTruth(frames: readonly Worth[]): Graded[] {
  const graded = new Array<Graded>(frames.length);
  const groups = new Map<string, number[]>();
  for (const [i, { group }] of frames.entries()) groups.set(group, [...(groups.get(group) ?? []), i]);
  for (const members of groups.values()) {
    const of = (value: (c: Conditions) => number) => members.map((i) => value(frames[i]!.conditions));
    const throughput0 = quantile(
      of((c) => c.throughput),
      0.9,
    );
    const variance0 = quantile(
      of((c) => c.varianceRate),
      0.1,
    );
    const fwhm0 = quantile(
      of((c) => c.shape.fwhmPx),
      0.1,
    );
    const weights = members.map((i) => {
      const { throughput, varianceRate, shape } = frames[i]!.conditions;
      const extended = (throughput / throughput0) * (throughput / throughput0) * (variance0 / varianceRate);
      return { extended, point: extended * (fwhm0 / shape.fwhmPx) * (fwhm0 / shape.fwhmPx) };
    });
    const limit = burdenLimit(weights.map(({ point }) => 1 / Math.max(point, 1e-9)));
    members.forEach((i, m) => {
      const { exposureS, conditions } = frames[i]!;
      const { extended, point } = weights[m]!;
      const burden = 1 / Math.max(point, 1e-9) / limit;
      const { blockedFraction, overlap, shape } = conditions;
      const spoiled = blockedFraction > 0.1 || overlap < 0.75 || shape.ellipticity > 0.5;
      graded[i] = {
        effectiveExposureS: exposureS * extended,
        effectivePointExposureS: exposureS * point,
        verdict: spoiled || burden > 1 ? "drop" : burden > 0.7 || shape.ellipticity > 0.35 ? "borderline" : "keep",
      };
    });
  }
  return graded;
}

/**
 * The normalised variance from which a sub costs an equal-weight stack more than it gives. The stack is the best one, of
 * the subs with the least variance down to some limit: n / sqrt(sum of u) is largest. To stop at the first sub that does
 * harm would be wrong: beside a few very good subs a middling one does harm alone, and many of them together help. That
 * counts from 3 % on; what makes no difference is left out.
 */
function burdenLimit(variances: readonly number[]): number {
  const sorted = [...variances].sort((a, b) => a - b);
  let [sum, best, last, limit] = [0, 0, 0, 0];
  sorted.forEach((u, i) => {
    sum += u;
    const n = i + 1;
    if (n / Math.sqrt(sum) <= best * (i === last ? 1 : 1.03)) return;
    best = n / Math.sqrt(sum);
    last = n;
    limit = (sum / n) * (2 + 1 / n);
  });
  return limit;
}

/** Conditions that every frame of a night has some of: only what exceeds the group's better frames is a cause. */
const everPresent: readonly Label[] = ["twilight", "moonlight", "low-altitude", "field-rotation"];

/** Losses of each frame; of conditions that are always there, what exceeds the best tenth of the group. */
export function excessLosses(frames: readonly Worth[]): ReadonlyMap<Label, number>[] {
  const groups = new Map<string, Worth[]>();
  for (const frame of frames) groups.set(frame.group, [...(groups.get(frame.group) ?? []), frame]);
  const usual = new Map(
    [...groups].map(([group, members]) => [
      group,
      new Map(
        everPresent.map((label) => [
          label,
          quantile(
            members.map(({ conditions }) => conditions.losses.get(label) ?? 0),
            0.1,
          ),
        ]),
      ),
    ]),
  );
  return frames.map(
    ({ group, conditions }) =>
      new Map([...conditions.losses].map(([label, loss]) => [label, loss - (usual.get(group)!.get(label) ?? 0)])),
  );
}

/** What costs the frame most, if anything costs it more than a tenth. */
export function mainCause(losses: ReadonlyMap<Label, number>): CauseCode | "" {
  const byCause = new Map<CauseCode, number>(causeCodes.map((code) => [code, 0]));
  for (const [label, loss] of losses) byCause.set(causeOfLabel[label], byCause.get(causeOfLabel[label])! + loss);
  let [cause, most]: [CauseCode | "", number] = ["", 0.1];
  for (const [code, loss] of byCause) if (loss > most) [cause, most] = [code, loss];
  return cause;
}

const columns = {
  file: ["text", "", "name of the file, relative to the night's folder"],
  kind: ["text", "", "light, dark, flat or unreadable"],
  target: ["text", "", "name of the target"],
  filter: ["text", "", "filter that was in front of the sensor"],
  startUtc: ["text", "", "start of the exposure, UTC"],
  exposureS: ["float", "s", "exposure time"],
  sensorTempC: ["float", "deg_C", "sensor temperature"],
  transparency: ["float", "", "starlight relative to a clear sky, extinction not counted"],
  skyEPerSPx: ["float", "electron / (s pix)", "sky, clouds included, before vignetting"],
  darkEPerSPx: ["float", "electron / (s pix)", "dark current"],
  fwhmPx: ["float", "pix", "diameter of the half-maximum contour, pixel width not included, mean over the field"],
  hfrPx: ["float", "pix", "half-flux radius, pixel width included, mean over the field"],
  ellipticity: ["float", "", "1 - b/a of the half-maximum contour, vector mean over the field"],
  elongationAngleDeg: ["float", "deg", "direction of elongation, from +x towards +y"],
  starsSnr5: ["integer", "", "stars in the frame whose best possible SNR is 5 or more"],
  starsSnr10: ["integer", "", "stars in the frame whose best possible SNR is 10 or more"],
  saturatedPixels: ["integer", "", "pixels at the limit of sensor or converter"],
  streaks: ["integer", "", "satellites and aircraft in the frame"],
  blockedFraction: ["float", "", "part of the frame behind an obstruction"],
  shiftXPx: ["float", "pix", "displacement of the field along +x"],
  shiftYPx: ["float", "pix", "displacement of the field along +y"],
  rotationDeg: ["float", "deg", "turn of the field from +x towards +y since the first frame of the target"],
  altitudeDeg: ["float", "deg", "altitude at mid-exposure, without refraction"],
  azimuthDeg: ["float", "deg", "azimuth at mid-exposure, from north through east"],
  airmass: ["float", "", "airmass (Kasten & Young 1989)"],
  sunAltitudeDeg: ["float", "deg", "altitude of the Sun"],
  moonAltitudeDeg: ["float", "deg", "altitude of the Moon"],
  effectiveExposureS: ["float", "s", "exposure x (T/T0)^2 x (B0/B), 0: best tenth of target and filter"],
  effectivePointExposureS: ["float", "s", "the same times (FWHM0/FWHM)^2"],
  verdict: ["text", "", "what the frame deserves: keep, borderline, drop or unjudged"],
  cause: ["text", "", "what costs the frame most; empty: nothing costs it more than a tenth"],
  events: ["text", "", "all that happens to the frame, separated by semicolons"],
} as const satisfies Record<keyof FrameTruth, readonly [EcsvColumn["type"], string, string]>;

export const truthColumns = Object.keys(columns) as readonly (keyof FrameTruth)[];

/** The truth of a night as ECSV, one row a file. Numbers are rounded to what they mean, seven digits. */
export function writeTruth(rows: readonly FrameTruth[]): string {
  return writeEcsvColumns(
    truthColumns.map((name) => {
      const [type, unit, description] = columns[name];
      const values = rows.map((row) => row[name]);
      const rounded = values.map((value) => (typeof value === "number" ? Number(value.toPrecision(7)) : value));
      return { name, type, unit, description, values: rounded as string[] | number[] };
    }),
  );
}
