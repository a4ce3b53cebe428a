/**
 * The constants of the model that names causes. All are choices of this project, made on simulated nights (seeds 1 to 24,
 * 301 to 324 and 602 of the nights in the tests); none is a published value. Log-odds are natural.
 */
export const causeConstants = {
  /**
   * Probability of a cause = (loss that it explains)^sharpness, made to sum to one: with 2.5, a cause that explains twice
   * as much as its rival has odds of 5.7 to 1.
   */
  sharpness: 2.5,
  /** Probability that the model misses what happened, spread over all causes. */
  doubt: 0.04,
  /** Loss that nothing may explain and still be usual; keeps small losses uncertain. */
  unexplained: 0.06,
  /** Dew against cloud, where light is lost: odds, and what changes them. */
  dew: {
    base: -1.5,
    /** For each unit by which width grows per unit of light lost, beyond `fromRatio`. Dew: 0.3 to 1; cloud: 0. */
    perRatio: 14,
    fromRatio: 0.17,
    /** For each unit of roughness (median change from sub to sub against a line, relative to the loss). */
    perRoughness: -6,
    usualRoughness: 0.12,
    /** For each unit by which width and light go apart: dew makes both, a veil and a drifting focus do not. */
    perApart: -18,
    usualApart: 0.3,
    /** For each unit of the correlation of width and loss within the dim stretch. */
    perTogether: 5,
    usualTogether: 0.5,
    /** For each e-fold of the minutes in which the light goes: cloud comes within minutes, dew takes its time. */
    perRise: 1.5,
    usualRiseMin: 25,
    most: 4,
  },
  /** Far from focus some light is missed as well: odds of focus against dew for each unit of the ratio beyond `fromRatio`. */
  defocus: { perRatio: 5, fromRatio: 1.2 },
  /** Loss of light from which a sub belongs to a dim stretch, and how many subs to each side are looked at. */
  dim: { from: 0.15, reach: 30, margin: 3 },
  /** Probability that what was going on goes on behind something in the way, halved every so many subs. */
  hidden: { goesOn: 0.9, halfSubs: 15 },
  /** Shares of the noise: parts of a dark sky. */
  noise: {
    /** What a cloud throws back of the light below it, for each unit of light lost. */
    cloudGlow: 0.8,
    /** Dark current of the cool sensor, in dark skies; doubles every `doublingC`. */
    coolDark: 0.08,
    doublingC: 6,
    unknown: 0.03,
  },
  /** Loss that an uneven background counts for, and the share of something in the way when a neighbour is blocked. */
  uneven: { loss: 0.3, obstruction: 0.85 },
  /** Round widening. */
  width: {
    /** Odds of focus against unexplained seeing at no widening, for each unit of widening, and of a jump between neighbours. */
    focusBase: 0,
    perLoss: 4,
    perJump: -2,
  },
  /** Elongation. */
  elongation: {
    /** From which difference in ellipticity. */
    from: 0.08,
    /**
     * Tracking against wind: base, and for each e-fold by which the trail that the field's movement would draw in the
     * exposure exceeds `fromTrail` of the one that is seen.
     */
    trackingBase: -0.5,
    perTrail: 2.5,
    fromTrail: 0.25,
    most: 5,
    /** Where the trail cannot be compared: for the share of neighbours that are drawn out alike, from half of them on. */
    perAlike: 5,
    /** A knock: the field stays displaced by so many usual steps; fewer where two images of the stars are seen. */
    knock: { steps: 3, doubledSteps: 2, logOdds: 2.5 },
  },
} as const;
