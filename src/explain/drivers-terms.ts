import type { Interval } from "../numbers/proportion-intervals.js";
import type { PairedEffect } from "./drivers-pairs.js";

/** What rejects and quality may go with. `moon`: lit fraction x sine of the Moon's altitude, 0 with the Moon down. */
export const factorCodes = [
  "altitude",
  "sensor-temperature",
  "moon",
  "twilight",
  "hour",
  "exposure",
  "filter",
] as const;
export type FactorCode = (typeof factorCodes)[number];

/**
 * What is compared: `rejects` (dropped or not); the natural logarithms of FWHM, freed of airmass^0.6, of transparency, of
 * background and of noise, these two freed of the twilight and moonlight that were found in them.
 */
export const metricCodes = ["rejects", "fwhm", "transparency", "background", "noise"] as const;
export type MetricCode = (typeof metricCodes)[number];

/** One column of the model: a factor, or for filters one filter against the most used one. */
export interface Factor {
  readonly code: FactorCode;
  /** Of filters: which one, against which. */
  readonly filter?: string;
  readonly against?: string;
  /** What an effect is quoted for: 10 (deg), 1 (degree C), 1 (h), 6 (deg of the Sun), 1 (doubling of the exposure). */
  readonly step: number;
}

/** What would tell two factors apart. */
export type Remedy =
  | "follow-through-transit"
  | "moonless-night"
  | "fully-dark-hours"
  | "alternate-filters"
  | "one-exposure-for-both-filters"
  | "another-night";

/** Two factors that moved together. */
export interface Inseparable {
  readonly factors: readonly [Factor, Factor];
  /** Rank correlation within nights. */
  readonly correlation: number;
  readonly separatedBy: Remedy;
}

/** What the design of the nights can tell apart, before any result is looked at. */
export interface Design {
  readonly subs: number;
  readonly nights: number;
  /** Factors that vary, with their variance inflation. Above 5 effects are vague, above 10 not separate. */
  readonly factors: readonly { readonly factor: Factor; readonly inflation: number }[];
  readonly inseparable: readonly Inseparable[];
  /** Subs of one night at the same altitude (1 deg) before and after the transit. */
  readonly equalAltitudePairs: number;
  /** Median difference of the sensor temperature within such pairs, after less before; NaN without pairs. */
  readonly pairTemperatureStepC: number;
  /** Median range of sensor temperature within 5 deg of altitude, within nights; NaN when not known. */
  readonly temperatureRangeInAltitudeBinC: number;
}

/** Size of an effect, for `step` of its factor: change of the logarithm; for rejects, of the log-odds. */
export interface Effect {
  readonly estimate: number;
  /** 90 %. */
  readonly interval: Interval;
  /** By circular shifts within nights, two-sided. */
  readonly p: number;
  /** After correction for all tests made. */
  readonly adjustedP: number;
  /** Rank correlation with all other factors held; NaN for rejects. */
  readonly partialSpearman: number;
  readonly subs: number;
  readonly nights: number;
  /** What the subs are worth in independent ones for this effect. */
  readonly effectiveSubs: number;
}

/** One test: a metric against a factor, or against several that moved together. */
export interface DriverTest {
  readonly metric: MetricCode;
  /** More than one: they cannot be separated. */
  readonly factors: readonly Factor[];
  readonly effect: Effect;
  /** True when `hour` fits as well: anything else that changed steadily through the night may be the reason. */
  readonly hourFitsAsWell: boolean;
  /**
   * The same effect from pairs of subs at equal altitude before and after the transit, whatever altitude does. Left out for
   * rejects and altitude itself, and where there are too few pairs.
   */
  readonly equalAltitude?: PairedEffect;
}

/** A claim at the asked level. An association: wind, dew, focus and what else was not measured remain rivals. */
export type DriverOutcome =
  | (DriverTest & { readonly kind: "finding" })
  | (DriverTest & { readonly kind: "cannot-be-separated"; readonly separatedBy: Remedy });

/** A law of nature whose course is known before any result is looked at, and of which one number is fitted. */
export type LawCode = "twilight" | "moonlight" | "airmass";

/**
 * A law checked on the nights' own numbers. `background`: brightened by twilight or moonlight as the model of the sky
 * predicts its course; `fwhm`: grows as a power of the airmass.
 */
export interface LawCheck {
  readonly law: LawCode;
  readonly metric: "background" | "fwhm";
  /** Of `background`: filter and exposure; of `fwhm` empty and NaN, all are taken together. */
  readonly filter: string;
  readonly exposureS: number;
  /**
   * `fwhm`: the power of the airmass. `background`: ADU by which the light raises the background, from the sub with least to
   * the one with most of it.
   */
  readonly estimate: number;
  /** 90 %. */
  readonly interval: Interval;
  /** Of `background`: its median without that light, the camera's offset included; of `fwhm` NaN. */
  readonly levelAdu: number;
  /** What the law allows of the estimate: a power of 0.2 to 1, for 0.6; no rise beyond what a sky without town light has. */
  readonly predicted: Interval;
  /** One-sided, noise of unknown slowness averaged over; also without the sub that counts most. */
  readonly p: number;
  /** After correction for all laws checked (Holm). */
  readonly adjustedP: number;
  /** True when it shows, with a size that the law allows. */
  readonly claimed: boolean;
  /** Range of what drives it in these subs: airmass, or predicted light in nL. */
  readonly from: number;
  readonly to: number;
  readonly subs: number;
  readonly nights: number;
}

/** Rejects in one filter. */
export interface FilterRate {
  readonly filter: string;
  readonly subs: number;
  readonly rejected: number;
  readonly rate: number;
  readonly interval: Interval;
  /** With every filter used at the nights and altitudes of all subs; NaN when nothing is in common. */
  readonly standardisedRate: number;
  /** Against all other filters, within night and altitude (Mantel-Haenszel, 90 %); NaN without overlap. */
  readonly oddsRatio: number;
  readonly oddsInterval: Interval;
  /** Breslow-Day with Tarone: small when one odds ratio does not fit all strata. */
  readonly homogeneityP: number;
  /** True when the crude comparison points the other way than the stratified one. */
  readonly reversed: boolean;
}

/** Rejects in a range of altitude or temperature. */
export interface RateBin {
  readonly factor: "altitude" | "sensor-temperature";
  readonly from: number;
  readonly to: number;
  readonly subs: number;
  readonly rejected: number;
  readonly interval: Interval;
}

/** What rejects and quality go with, over one or many nights. */
export interface Drivers {
  readonly design: Design;
  /** Laws of nature, checked first: what they explain is taken off before anything else is tested. */
  readonly laws: readonly LawCheck[];
  readonly outcomes: readonly DriverOutcome[];
  /** All tests made, claimed or not. */
  readonly tests: readonly DriverTest[];
  readonly filterRates: readonly FilterRate[];
  readonly rateBins: readonly RateBin[];
  /** Why nothing was tested; null when something was. */
  readonly because: "too-few-subs" | "nothing-varies" | null;
}

export interface DriverOptions {
  /** Share of nights without any effect on which something may be claimed. Default 0.05. */
  readonly level?: number;
  /** Seed of the random shifts (several nights only). Default 1. */
  readonly seed?: number;
}
