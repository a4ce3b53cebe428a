import { toRadians } from "../terms/units.js";
import { scatteringAirmass } from "./airmass.js";

/** What moonlight on the sky depends on; `SkyPlace` has all but the extinction. */
export interface MoonGeometry {
  /** Altitude of the piece of sky, without refraction. */
  readonly altitudeDeg: number;
  readonly moonAltitudeDeg: number;
  readonly moonSeparationDeg: number;
  /** 0 full, 180 new. */
  readonly moonPhaseAngleDeg: number;
}

export interface MoonlightOptions {
  /** `surge`: up to 35 % brighter within 7 degrees of full (Krisciunas & Schaefer 1991, p. 1035). Default `none`. */
  readonly opposition?: "none" | "surge";
  /** From the Earth's centre; the Moon is taken at its mean distance, 60.27 Earth radii, when this is left out. */
  readonly moonDistanceKm?: number;
}

const earthRadiusKm = 6378.137;
const meanDistanceKm = 60.27 * earthRadiusKm;

/**
 * Moonlight scattered by clear air (Krisciunas & Schaefer 1991, PASP 103, 1033; they found it right to 8 to 23 %).
 * @param extinctionMagPerAirmass - V
 * @returns nanolamberts to add to the dark sky; 0 with the Moon below the horizon, NaN for a piece of sky below it
 */
export function moonlightNanolambert(
  geometry: MoonGeometry,
  extinctionMagPerAirmass: number,
  options: MoonlightOptions = {},
): number {
  if (!(geometry.altitudeDeg >= 0)) return Number.NaN;
  if (geometry.moonAltitudeDeg < 0) return 0;
  const skyAirmass = scatteringAirmass(geometry.altitudeDeg);
  const moonAirmass = scatteringAirmass(geometry.moonAltitudeDeg);
  const dimmed = (airmass: number) => 10 ** (-0.4 * extinctionMagPerAirmass * airmass);
  const light = moonIlluminance(geometry.moonPhaseAngleDeg, options);
  return scattering(geometry.moonSeparationDeg) * light * dimmed(moonAirmass) * (1 - dimmed(skyAirmass));
}

/**
 * The Moon's V magnitude outside the air: eq. 9, -12.73 + 0.026 |a| + 4e-9 a^4, and the distance if given.
 * @param phaseAngleDeg - 0 full, 180 new
 */
export function moonMagnitude(phaseAngleDeg: number, options: MoonlightOptions = {}): number {
  // Eq. 20 is eq. 9 in other units: V = -12.73 where I* = 10^(-0.4 x 3.84).
  return -12.73 - 3.84 - 2.5 * Math.log10(moonIlluminance(phaseAngleDeg, options));
}

/** Eq. 20, in foot-candles, with the two refinements. */
function moonIlluminance(phaseAngleDeg: number, { opposition = "none", moonDistanceKm }: MoonlightOptions): number {
  const angle = Math.abs(phaseAngleDeg);
  const surge = opposition === "surge" && angle < 7 ? 1 + 0.35 * (1 - angle / 7) : 1;
  const nearness = ((moonDistanceKm ?? meanDistanceKm) / meanDistanceKm) ** -2;
  return 10 ** (-0.4 * (3.84 + 0.026 * angle + 4e-9 * angle ** 4)) * surge * nearness;
}

/**
 * Eq. 21, Rayleigh and Mie scattering; within 10 degrees of the Moon eq. 19 in place of the Mie term. The two forms meet
 * with a step of a fifth, which is the paper's. The Moon's own disk (0.25 degrees) bounds eq. 19.
 */
function scattering(separationDeg: number): number {
  const rayleigh = 10 ** 5.36 * (1.06 + Math.cos(toRadians(separationDeg)) ** 2);
  const mie = separationDeg < 10 ? 6.2e7 / Math.max(separationDeg, 0.25) ** 2 : 10 ** (6.15 - separationDeg / 40);
  return rayleigh + mie;
}
