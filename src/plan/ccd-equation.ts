import { CallError } from "../terms/errors.js";

/** Electrons of one exposure within an aperture of some pixels. */
export interface Aperture {
  /** Electrons of the object in the aperture. */
  readonly signalE: number;
  /** Size of the aperture, px. */
  readonly pixels: number;
  /** Electrons per px. */
  readonly skyE: number;
  readonly darkE: number;
  readonly readNoiseE: number;
  /** Pixels from which the background was estimated; infinite when left out. */
  readonly backgroundPixels?: number;
  /** e-/ADU, for the rounding to whole ADU; 0 when left out. */
  readonly electronsPerAdu?: number;
}

/** Standard deviation of rounding, ADU: 1 / sqrt(12). The paper prints 0.289. */
const roundingAdu = 0.289;

/**
 * Signal over noise of an object in one exposure: S / sqrt(S + n (1 + n/n_B)(B + D + R^2 + G^2 s^2)) (Merline & Howell
 * 1995, Experimental Astronomy 6, 163).
 */
export function ccdSnr(aperture: Aperture): number {
  const { signalE, pixels, skyE, darkE, readNoiseE, backgroundPixels, electronsPerAdu = 0 } = aperture;
  const estimate = backgroundPixels === undefined ? 1 : 1 + pixels / backgroundPixels;
  const perPixel = skyE + darkE + readNoiseE ** 2 + (electronsPerAdu * roundingAdu) ** 2;
  return signalE / Math.sqrt(signalE + pixels * estimate * perPixel);
}

/** Electrons a second. */
export interface Rates {
  /** Of the object in the aperture. */
  readonly signalEPerS: number;
  readonly pixels: number;
  /** Sky and dark, per px. */
  readonly backgroundEPerS: number;
  readonly readNoiseE: number;
}

/**
 * Length of the single exposure that reaches a signal-to-noise ratio: the CCD equation solved for the time.
 * @returns s
 * @throws CallError when there is no signal
 */
export function exposureForSnr(snr: number, { signalEPerS, pixels, backgroundEPerS, readNoiseE }: Rates): number {
  if (!(signalEPerS > 0 && snr > 0))
    throw new CallError(`No exposure reaches a signal-to-noise ratio of ${snr} with a signal of ${signalEPerS} e-/s`);
  const all = signalEPerS + pixels * backgroundEPerS;
  const half = snr ** 2 * all;
  const root = Math.sqrt(half ** 2 + 4 * signalEPerS ** 2 * snr ** 2 * pixels * readNoiseE ** 2);
  return (half + root) / (2 * signalEPerS ** 2);
}

/** The time after which photons make as much variance as one read-out: n R^2 / (s + b), s. */
export const readNoiseTimeS = ({ signalEPerS, pixels, backgroundEPerS, readNoiseE }: Rates): number =>
  (pixels * readNoiseE ** 2) / (signalEPerS + pixels * backgroundEPerS);

/**
 * How many subs of one length a stack needs: N = SNR^2 [(s + b) t + n R^2] / (s t)^2.
 * @returns not rounded up
 */
export function subsNeeded(
  snr: number,
  subS: number,
  { signalEPerS, pixels, backgroundEPerS, readNoiseE }: Rates,
): number {
  const variance = (signalEPerS + pixels * backgroundEPerS) * subS + pixels * readNoiseE ** 2;
  return (snr ** 2 * variance) / (signalEPerS * subS) ** 2;
}

/** Error in magnitudes of a small relative error: 2.5 / ln 10 over the signal-to-noise ratio. */
export const magnitudeError = (snr: number): number => 2.5 / Math.LN10 / snr;

/** Pixels whose noise counts under a star when it is measured best: 4 pi sigma^2 of a Gaussian, 2.266 FWHM^2. */
export const noisePixels = (fwhmPx: number): number => 2.266 * fwhmPx ** 2;

/**
 * The width that counts for noise: that of the Gaussian with as many noise pixels as a star with this width at half
 * maximum. Stars have wings, so it is larger: half-maximum width = 0.822 x this (Ivezic et al., LSE-40 and SMTN-002; the
 * 0.052 arcsec of the same relation is of no weight here), and a pixel's own width comes in.
 * @param fwhmPx - at half maximum, without the pixel, as in the frame table
 */
export const noiseFwhmPx = (fwhmPx: number): number => Math.sqrt(fwhmPx ** 2 + (8 * Math.LN2) / 12) / 0.822;

/** What the limit of a stack follows from. */
export interface LimitInput {
  /** Magnitude of a star that gives 1 e-/s at the telescope, extinction of the air included. */
  readonly zeroPointMag: number;
  /** Sky and dark, e-/s/px. */
  readonly backgroundEPerS: number;
  readonly readNoiseE: number;
  readonly subS: number;
  readonly subs: number;
  /** As of `noiseFwhmPx`. */
  readonly fwhmPx: number;
  readonly snr: number;
}

/** The magnitude of a star that a stack shows at a signal-to-noise ratio, measured with its own profile. */
export function limitingMagnitude(input: LimitInput): number {
  const { zeroPointMag, backgroundEPerS, readNoiseE, subS, subs, fwhmPx, snr } = input;
  const variance = noisePixels(fwhmPx) * (backgroundEPerS * subS + readNoiseE ** 2) * subs;
  // The star's own noise counts: S = SNR^2/2 + sqrt(SNR^4/4 + SNR^2 V).
  const signalE = snr ** 2 / 2 + Math.sqrt(snr ** 4 / 4 + snr ** 2 * variance);
  return zeroPointMag - 2.5 * Math.log10(signalE / (subS * subs));
}

/**
 * The surface brightness that a stack shows at a signal-to-noise ratio in an area of sky.
 * @param areaArcsec2 - averaged over; 1 for the usual figure, and 100 for 10" x 10"
 * @returns mag/arcsec2
 */
export function limitingSurfaceMag(
  input: Omit<LimitInput, "fwhmPx"> & { readonly pixelScaleArcsec: number; readonly areaArcsec2: number },
): number {
  const { zeroPointMag, backgroundEPerS, readNoiseE, subS, subs, snr, pixelScaleArcsec, areaArcsec2 } = input;
  const pixels = areaArcsec2 / pixelScaleArcsec ** 2;
  const variance = pixels * (backgroundEPerS * subS + readNoiseE ** 2) * subs;
  const signalE = snr ** 2 / 2 + Math.sqrt(snr ** 4 / 4 + snr ** 2 * variance);
  return zeroPointMag - 2.5 * Math.log10(signalE / (subS * subs) / areaArcsec2);
}

/** Time that counts: t 10^(0.8 (m - m0)), with m the limit that was reached and m0 that of good conditions. */
export const effectiveTimeS = (timeS: number, limitMag: number, goodLimitMag: number): number =>
  timeS * 10 ** (0.8 * (limitMag - goodLimitMag));

/**
 * The same from conditions: eta^2 (FWHM / FWHM0)^-2 (b / b0)^-1 (Neilsen, Bernstein, Gruendl & Kent 2016).
 * @param transparency - 1 for clear air
 * @param widthRatio - FWHM over that of good conditions
 * @param skyRatio - sky over that of good conditions
 */
export const effectiveTimeFactor = (transparency: number, widthRatio: number, skyRatio: number): number =>
  transparency ** 2 / widthRatio ** 2 / skyRatio;
