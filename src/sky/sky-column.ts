import { median } from "../numbers/quantiles.js";
import { CallError } from "../terms/errors.js";
import type { FrameTable } from "../terms/frame-table.js";
import { toDegrees } from "../terms/units.js";
import { extinctionAtHeight } from "./extinction.js";
import { nanolambertOfMag } from "./nanolambert.js";
import { calibrateDarkZenith, type SkyConditions, type SkyModel, skyBrightness } from "./sky-brightness.js";

/** What is known of site and camera beyond the frame table. */
export interface SkyColumnOptions {
  /** Zenith of the site's dark sky, V mag/arcsec2, where a meter or the user gives it. */
  readonly darkZenithMag?: number;
  /** Height of the site, m; for the extinction of clear air. 0 when left out. */
  readonly heightM?: number;
  /** V mag per airmass; from the height when left out. */
  readonly extinctionMagPerAirmass?: number;
  /** Level of a frame without light, ADU: the bias level or the offset of the camera. */
  readonly pedestalAdu?: number;
  /** V magnitude of a star that gives 1 ADU/s. */
  readonly zeroPointMag?: number;
}

/** The modelled sky of every row, and what the model rests on. */
export interface SkyColumn {
  /**
   * For the frame table; NaN where the row is not placed, below the horizon or in daylight, or no zenith could be
   * found.
   */
  readonly skyMagArcsec2: Float64Array;
  /** NaN when it could not be found. */
  readonly darkZenithMag: number;
  /** `measured`: by the zero point; `moonlight`: from how much moonlight brightened the frames. */
  readonly from: "given" | "measured" | "moonlight" | "not-known";
  /** How many rows the zenith was found from. */
  readonly frames: number;
  /** Scatter of those rows about the model, mag; NaN when the zenith was given. */
  readonly scatterMag: number;
}

/**
 * The model's sky brightness at the target of each light frame: dark sky, airmass, moonlight, twilight. The dark zenith
 * is the user's; or it is found from the frames: by the zero point, or from the contrast of dark and moonlit frames in
 * one filter, as the Moon is a lamp of known brightness. Without any of these there is no number.
 *
 * Pure: gives new columns and alters nothing. Rows need altitudes of target, Sun and Moon, the Moon's separation and
 * lit
 * fraction; the Moon is taken at its mean distance. A frame table holds no more.
 * @throws CallError when the zenith given is no number of mag/arcsec2
 * @example
 * ```ts
 * import { skyColumn } from "nightyield";
 * console.log(skyColumn(table).skyMagArcsec2[0], "mag/arcsec2");
 * ```
 */
export function skyColumn(table: FrameTable, options: SkyColumnOptions = {}): SkyColumn {
  const extinctionMagPerAirmass = options.extinctionMagPerAirmass ?? extinctionAtHeight(options.heightM ?? 0);
  const model = { extinctionMagPerAirmass };
  const zenith = zenithOf(table, options, model);
  const skyMagArcsec2 = new Float64Array(table.rows).fill(Number.NaN);
  if (Number.isFinite(zenith.darkZenithMag))
    for (let row = 0; row < table.rows; row++)
      if (isPlaced(table, row))
        skyMagArcsec2[row] = skyBrightness(conditionsOf(table, row), { ...model, ...zenith }).magArcsec2;
  return { skyMagArcsec2, ...zenith };
}

/** What the sky model needs, from a row of the frame table. */
export function conditionsOf(table: FrameTable, row: number): SkyConditions {
  const lit = Math.min(1, Math.max(0, table.moonIllumination[row]!));
  return {
    altitudeDeg: table.altitudeDeg[row]!,
    sunAltitudeDeg: table.sunAltitudeDeg[row]!,
    moonAltitudeDeg: table.moonAltitudeDeg[row]!,
    moonSeparationDeg: table.moonSeparationDeg[row]!,
    // The lit fraction is (1 + cos(phase angle)) / 2 (Meeus eq. 48.1).
    moonPhaseAngleDeg: toDegrees(Math.acos(2 * lit - 1)),
    moonDistanceKm: 384_400,
  };
}

type Zenith = Omit<SkyColumn, "skyMagArcsec2">;
type Air = Omit<SkyModel, "darkZenithMag">;
const notKnown: Zenith = { darkZenithMag: Number.NaN, from: "not-known", frames: 0, scatterMag: Number.NaN };

function zenithOf(table: FrameTable, options: SkyColumnOptions, air: Air): Zenith {
  const { darkZenithMag, pedestalAdu, zeroPointMag } = options;
  if (darkZenithMag !== undefined) {
    if (!(darkZenithMag > 10 && darkZenithMag < 24))
      throw new CallError(`darkZenithMag is ${darkZenithMag}, expected V mag/arcsec2 between 10 and 24`);
    return { ...notKnown, darkZenithMag, from: "given" };
  }
  if (pedestalAdu === undefined) return notKnown;
  const frames = usableFrames(table, pedestalAdu);
  if (zeroPointMag !== undefined) {
    const found = calibrateDarkZenith(
      frames.map(({ sky, rate }) => ({ sky, magArcsec2: zeroPointMag - 2.5 * Math.log10(rate) })),
      air,
    );
    return found.frames === 0
      ? notKnown
      : { darkZenithMag: found.mag, from: "measured", frames: found.frames, scatterMag: found.scatterMag };
  }
  return zenithFromMoonlight(frames, air);
}

interface UsableFrame {
  readonly group: string;
  readonly sky: SkyConditions;
  /** ADU/s per square arcsecond without the pedestal. */
  readonly rate: number;
}

function usableFrames(table: FrameTable, pedestalAdu: number): UsableFrame[] {
  const frames: UsableFrame[] = [];
  for (let row = 0; row < table.rows; row++) {
    const exposureS = table.exposureS[row]!;
    const scale = table.pixelScaleArcsec[row]!;
    // Where the scale is not known, one scale for all does: only ratios count then.
    const rate = (table.backgroundAdu[row]! - pedestalAdu) / exposureS / (Number.isFinite(scale) ? scale * scale : 1);
    if (!isPlaced(table, row) || !(rate > 0) || table.sunAltitudeDeg[row]! > -15 || table.altitudeDeg[row]! < 15)
      continue;
    const group = [table.filter[row], table.gainSetting[row], table.width[row]].join("\u0001");
    frames.push({ group, sky: conditionsOf(table, row), rate });
  }
  return frames;
}

/**
 * The zenith at which the frames of each filter agree best on one constant. It counts only when moonlight made a
 * difference (a factor of 1.3 within a filter at the zenith found) and the answer lies within the range searched.
 */
function zenithFromMoonlight(frames: readonly UsableFrame[], air: Air): Zenith {
  const groups = grouped(frames).filter((group) => group.length >= 10);
  const used = groups.reduce((sum, group) => sum + group.length, 0);
  if (used === 0) return notKnown;
  const spreadAt = (darkZenithMag: number): number =>
    groups.reduce((sum, group) => sum + group.length * spread(group, { ...air, darkZenithMag }), 0) / used;
  const grid = Array.from({ length: 131 }, (_, i) => 16 + 0.05 * i);
  const spreads = grid.map(spreadAt);
  const at = spreads.indexOf(Math.min(...spreads));
  const darkZenithMag = grid[at]!;
  const contrast = Math.max(...groups.map((group) => moonlitFactor(group, { ...air, darkZenithMag })));
  if (at === 0 || at === grid.length - 1 || contrast < 1.3) return notKnown;
  // 1.2533 turns the mean absolute deviation of a normal sample into its standard deviation: sqrt(pi / 2).
  return { darkZenithMag, from: "moonlight", frames: used, scatterMag: 1.2533 * spreads[at]! };
}

function grouped(frames: readonly UsableFrame[]): UsableFrame[][] {
  const groups = new Map<string, UsableFrame[]>();
  for (const frame of frames) {
    const group = groups.get(frame.group);
    if (group === undefined) groups.set(frame.group, [frame]);
    else group.push(frame);
  }
  return [...groups.values()];
}

/** Mean absolute deviation of the constants that the frames of one filter give, mag. */
function spread(group: readonly UsableFrame[], model: SkyModel): number {
  const constants = group.map(({ sky, rate }) => skyBrightness(sky, model).magArcsec2 + 2.5 * Math.log10(rate));
  const middle = median(constants);
  return constants.reduce((sum, c) => sum + Math.abs(c - middle), 0) / constants.length;
}

function moonlitFactor(group: readonly UsableFrame[], model: SkyModel): number {
  const factors = group.map(({ sky }) => {
    const { moonlightNanolambert, darkNanolambert } = skyBrightness(sky, model);
    return (darkNanolambert + moonlightNanolambert) / Math.max(darkNanolambert, nanolambertOfMag(30));
  });
  return Math.max(...factors) / Math.min(...factors);
}

const isPlaced = (table: FrameTable, row: number): boolean =>
  table.kind[row] === "light" &&
  Number.isFinite(table.altitudeDeg[row]) &&
  Number.isFinite(table.sunAltitudeDeg[row]) &&
  Number.isFinite(table.moonAltitudeDeg[row]);
