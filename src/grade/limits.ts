/**
 * Every limit of the grading in one place, for the purpose `balanced`. Each is a choice of this project, not a published
 * constant, except where it says so; where a method is published it is named at the code that applies it.
 */
export const defaultLimits = {
  /** A group with fewer measured subs is not judged. */
  fewestFrames: 5,
  /** A quantity must stand out by this many robust standard deviations before it counts (Iglewicz & Hoaglin 1993). */
  standsOut: 3.5,
  /** How the figure that the stack is to make large depends on the width of stars: 1 / FWHM^fwhmPower. */
  merit: { fwhmPower: 2 },
  /** Burden on an equal-weight stack (1: the sub takes as much as it gives). */
  burden: { borderline: 0.7, drop: 1 },
  /**
   * A comparison of stars counts when the light is known to this fraction. Brighter than the clearest subs by more than
   * this factor, it must show more stars as well.
   */
  starlight: { mostError: 0.2, mostExcess: 1.5 },
  /**
   * Clear air, magnitudes an airmass; taken out of `transparency` only, never out of what a sub is worth. It is fitted
   * within `least` and `most` where so many dark subs span so much airmass.
   */
  extinction: { magPerAirmass: 0.25, least: 0.05, most: 0.5, fewestFrames: 12, leastSpan: 0.4 },
  /**
   * Stars found, relative to the group's better part. From `crowded` times those of the subs that match the group, some
   * may be pieces of a streak that was not recognised.
   */
  starCount: { symptom: 0.6, enough: 10, crowded: 1.3 },
  /** Starlight relative to the clearest subs. */
  transparency: { symptom: 0.75 },
  /** Brightness of the background: variance relative to the group's darker part that it explains. */
  background: { symptom: 1.25 },
  /** Noise relative to what the background's brightness explains within the group. */
  noise: { symptom: 1.15 },
  /** Range of the background across the frame beyond what its brightness explains, in units of its noise. */
  gradient: { symptom: 1, drop: 2 },
  /** Star width at the same airmass, relative to the group's sharper part. */
  fwhm: { symptom: 1.25, drop: 2 },
  /** Eccentricity of the stars. 0.6 is an axis ratio of 0.8; 0.75 one of 0.66. */
  eccentricity: { symptom: 0.6, drop: 0.75, aboveGroup: 0.12 },
  /** Fraction of pixels at the sensor's limit. */
  saturated: { symptom: 0.02, drop: 0.2 },
  /** Fraction of the frame that shows neither stars nor sky. */
  blocked: { symptom: 0.05, drop: 0.1 },
  /** Part of the group's field that the sub shows. */
  overlap: { symptom: 0.9, drop: 0.75 },
  /** Streaks from which a sub is dropped; 0: never, as a clipped stack takes them out. */
  streak: { drop: 0 },
} as const;
type Loose<T> = { readonly [K in keyof T]: T[K] extends number ? number : Loose<T[K]> };
export type Limits = Loose<typeof defaultLimits>;
