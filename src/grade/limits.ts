/**
 * Every limit of the grading in one place. Each is a choice of this project, not a published constant; where a method
 * is published it is named at the code that applies it.
 */
export const defaultLimits = {
  /** A group with fewer measured subs is not judged. */
  fewestFrames: 5,
  /** A quantity must stand out by this many robust standard deviations before it counts. */
  standsOut: 3.5,
  /** Stars found, relative to the group's best tenth: below `symptom` it is noted, below `drop` the sub is dropped. */
  starCount: { symptom: 0.6, drop: 0.3 },
  /** Starlight relative to the clearest subs. */
  transparency: { symptom: 0.75 },
  /** Background relative to the group's typical one. */
  background: { symptom: 1.15 },
  /** Noise relative to what the background's brightness explains within the group. */
  noise: { symptom: 1.15 },
  /** Range of the background across the frame, in units of its noise. */
  gradient: { symptom: 2, ratio: 1.5 },
  /** Star width at the same airmass, relative to the group's better half. */
  fwhm: { symptom: 1.25, drop: 1.6 },
  /** Eccentricity of the stars. 0.6 is an axis ratio of 0.8. */
  eccentricity: { symptom: 0.6, drop: 0.75, aboveGroup: 0.12 },
  /** Fraction of pixels at the sensor's limit. */
  saturated: { symptom: 0.02, drop: 0.2 },
  /** Fraction of the frame that shows neither stars nor sky. */
  blocked: { symptom: 0.05, drop: 0.25 },
  /** Shift of the field as a fraction of the frame's width. */
  shift: { symptom: 0.15, drop: 0.5 },
  /** Burden on an equal-weight stack (1: the sub takes as much as it gives). */
  burden: { borderline: 0.85, drop: 1 },
} as const;
type Loose<T> = { readonly [K in keyof T]: T[K] extends number ? number : Loose<T[K]> };
export type Limits = Loose<typeof defaultLimits>;
