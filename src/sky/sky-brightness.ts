import { medianAndSigma } from "../numbers/robust.js";
import { scatteringAirmass } from "./airmass.js";
import { type MoonGeometry, moonlightNanolambert } from "./moonlight.js";
import { magOfNanolambert, nanolambertOfMag } from "./nanolambert.js";
import { twilightBrighteningMag } from "./twilight-glow.js";

/** What is assumed of a site's sky. */
export interface SkyModel {
  /** V mag/arcsec2 at the zenith, without Moon and twilight: what a sky quality meter reads, town light included. */
  readonly darkZenithMag: number;
  /** V; `extinctionAtHeight` has a value for want of a better. */
  readonly extinctionMagPerAirmass: number;
  /**
   * The part of the dark sky's light that grows with airmass; 0.6 when left out (Patat 2003; the value is secondary). 1
   * gives the law of Krisciunas & Schaefer 1991, which makes airmass 1.5 brighter than Benn & Ellison 1998 measured it.
   */
  readonly airglowFraction?: number;
  /** Zenith of a place without town light, the level that twilight brightens; {@link naturalZenithMag} when left out. */
  readonly naturalZenithMag?: number;
}

/** Zenith of a moonless sky without town light, V mag/arcsec2, near the minimum of the solar cycle. */
export const naturalZenithMag = 22;

/** Where sky, Moon and Sun are; a `SkyPlace` is one. */
export interface SkyConditions extends MoonGeometry {
  readonly sunAltitudeDeg: number;
  readonly moonDistanceKm: number;
}

/** The sky's light at the target, in its parts. NaN when the target is below the horizon or the Sun is up. */
export interface SkyBrightness {
  readonly magArcsec2: number;
  readonly darkNanolambert: number;
  readonly moonlightNanolambert: number;
  readonly twilightNanolambert: number;
}

/**
 * How bright a clear sky is at the target: the dark sky (the zenith's, by the airmass law), moonlight and twilight, added
 * as light. The airmass law is that of a glowing layer; near a town the sky brightens faster towards the town, which no
 * model without a map can know, so calibrate on one's own frames.
 */
export function skyBrightness(sky: SkyConditions, model: SkyModel): SkyBrightness {
  const dark = nanolambertOfMag(model.darkZenithMag + airmassLawMag(sky.altitudeDeg, model));
  const { moon, twilight } = addedLight(sky, model);
  return {
    magArcsec2: magOfNanolambert(dark + moon + twilight),
    darkNanolambert: dark,
    moonlightNanolambert: moon,
    twilightNanolambert: twilight,
  };
}

/**
 * The dark sky away from the zenith against the zenith: -2.5 log[(1 - f) + f X] + k (X - 1), with X the path through the
 * glowing layer (Garstang 1989, Patat 2003).
 * @returns magnitudes, negative where it is brighter; NaN below the horizon
 */
export function airmassLawMag(altitudeDeg: number, model: Omit<SkyModel, "darkZenithMag">): number {
  return layerMag(scatteringAirmass(altitudeDeg), model.extinctionMagPerAirmass, model.airglowFraction);
}

/** The same by the airmass itself. */
export function layerMag(airmass: number, extinctionMagPerAirmass: number, airglowFraction = 0.6): number {
  return -2.5 * Math.log10(1 - airglowFraction + airglowFraction * airmass) + extinctionMagPerAirmass * (airmass - 1);
}

/** A constant found from frames: the median over those that could tell, and their scatter (1.4826 MAD). */
export interface SkyCalibration {
  /** NaN when no frame could tell. */
  readonly mag: number;
  readonly scatterMag: number;
  /** How many frames were used. */
  readonly frames: number;
}

/**
 * Finds the dark zenith of one's own site from frames whose sky was measured in mag/arcsec2: takes modelled moonlight and
 * twilight off, and the airmass law. A frame in which these two make more than half of the light cannot tell, and is
 * left out.
 */
export function calibrateDarkZenith(
  frames: readonly { readonly sky: SkyConditions; readonly magArcsec2: number }[],
  model: Omit<SkyModel, "darkZenithMag">,
): SkyCalibration {
  return summary(
    frames.map(({ sky, magArcsec2 }) => {
      const measured = nanolambertOfMag(magArcsec2);
      const { moon, twilight } = addedLight(sky, model);
      const dark = measured - moon - twilight;
      return dark >= measured / 2 ? magOfNanolambert(dark) - airmassLawMag(sky.altitudeDeg, model) : Number.NaN;
    }),
  );
}

/**
 * Finds the constant that turns a camera's sky rate into mag/arcsec2 under an assumed dark zenith: mag = constant - 2.5
 * log(rate). It absorbs aperture, filter and gain, so it holds for one filter and one set-up.
 * @param frames - rate in any unit per second per square arcsecond, bias and dark taken off; a rate of 0 or less is left out
 */
export function calibrateSkyConstant(
  frames: readonly { readonly sky: SkyConditions; readonly rate: number }[],
  model: SkyModel,
): SkyCalibration {
  return summary(frames.map(({ sky, rate }) => skyBrightness(sky, model).magArcsec2 + 2.5 * Math.log10(rate)));
}

function addedLight(sky: SkyConditions, model: Omit<SkyModel, "darkZenithMag">): { moon: number; twilight: number } {
  const { moonDistanceKm } = sky;
  const natural = nanolambertOfMag(model.naturalZenithMag ?? naturalZenithMag);
  return {
    moon: moonlightNanolambert(sky, model.extinctionMagPerAirmass, { moonDistanceKm }),
    twilight: natural * (10 ** (0.4 * twilightBrighteningMag(sky.sunAltitudeDeg)) - 1),
  };
}

function summary(values: readonly number[]): SkyCalibration {
  const usable = values.filter(Number.isFinite);
  const { median, sigma } = medianAndSigma(usable);
  return { mag: median, scatterMag: sigma, frames: usable.length };
}
