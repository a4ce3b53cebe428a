/**
 * The constants of the model that names causes; none is a published value. The shape of the model was chosen on simulated
 * nights (seeds 1 to 24, 301 to 324 and 602 of the nights in the tests). The probabilities were then calibrated by maximum
 * likelihood on 283 nights of seeds 401 to 412: all constants that weigh evidence were moved, one after the other, to where
 * the mean log-probability of the true cause is highest, held near their former values by a small penalty. The n subs of a
 * night that share a cause count as sqrt(n), as they stand or fall together. Fitted on odd seeds and tried on even ones and
 * the other way round, the log-loss falls by a quarter on the seeds left out. Log-odds are natural.
 */
export const causeConstants = {
  /**
   * Probability of a cause = (loss that it explains)^sharpness, made to sum to one: with 2.95, a cause that explains twice
   * as much as its rival has odds of 7.7 to 1.
   */
  sharpness: 2.95,
  /** Probability that the model misses what happened, spread over all causes. */
  doubt: 0.01,
  /** Loss that nothing may explain and still be usual; keeps small losses uncertain. */
  unexplained: 0.03,
  /** Dew against cloud, where light is lost: odds, and what changes them. */
  dew: {
    base: -1,
    /** For each unit by which width grows per unit of light lost, beyond `fromRatio`. Dew: 0.3 to 1; cloud: 0. */
    perRatio: 17.8,
    fromRatio: 0.144,
    /** For each unit of roughness (median change from sub to sub against a line, relative to the loss). */
    perRoughness: -7.9,
    usualRoughness: 0.12,
    /** For each unit by which width and light go apart: dew makes both, a veil and a drifting focus do not. */
    perApart: -17.2,
    usualApart: 0.3,
    /** For each unit of the correlation of width and loss within the dim stretch. */
    perTogether: 4,
    usualTogether: 0.5,
    /** For each e-fold of the minutes in which the light goes: cloud comes within minutes, dew takes its time. */
    perRise: 1.12,
    usualRiseMin: 25,
    most: 2.16,
  },
  /** Far from focus some light is missed as well: odds of focus against dew for each unit of the ratio beyond `fromRatio`. */
  defocus: { perRatio: 5.6, fromRatio: 1.31 },
  /** Loss of light from which a sub belongs to a dim stretch, and how many subs to each side are looked at. */
  dim: { from: 0.15, reach: 30, margin: 3 },
  /** Probability that what was going on goes on behind something in the way, halved every so many subs. */
  hidden: { goesOn: 0.86, halfSubs: 16 },
  /** Shares of the noise: parts of a dark sky. */
  noise: {
    /** What a cloud throws back of the light below it, for each unit of light lost. */
    cloudGlow: 0.8,
    /** Dark current of the cool sensor, in dark skies; doubles every `doublingC`. */
    coolDark: 0.08,
    doublingC: 6,
    unknown: 0.026,
  },
  /** Loss that an uneven background counts for, and the share of something in the way when a neighbour is blocked. */
  uneven: { loss: 0.3, obstruction: 0.85 },
  /** Round widening. */
  width: {
    /** Odds of focus against unexplained seeing at no widening, for each unit of widening, and of a jump between neighbours. */
    focusBase: 0.1,
    perLoss: 4.2,
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
    trackingBase: -1.7,
    perTrail: 3.3,
    fromTrail: 0.15,
    most: 5.4,
    /** Where the trail cannot be compared: for the share of neighbours that are drawn out alike, from half of them on. */
    perAlike: 6.25,
    /** A knock: the field stays displaced by so many usual steps; fewer where two images of the stars are seen. */
    knock: { steps: 3, doubledSteps: 2, logOdds: 2.3 },
  },
} as const;
