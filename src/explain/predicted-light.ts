import { scatteringAirmass, youngAirmass } from "../sky/airmass.js";
import { moonlightNanolambert } from "../sky/moonlight.js";
import { nanolambertOfMag } from "../sky/nanolambert.js";
import { airmassLawMag, type SkyConditions } from "../sky/sky-brightness.js";
import { twilightBrighteningMag } from "../sky/twilight-glow.js";

/** A sky without town light, the level that the twilight curve brightens: 22.0 V mag/arcsec2. */
export const naturalNanolambert: number = nanolambertOfMag(22);

/** Light that clear air is predicted to add at the target, and how its own glow goes with the airmass. */
export interface PredictedLight {
  /** nL; NaN by day. */
  readonly twilight: number;
  /** nL. */
  readonly moonlight: number;
  /** Dark sky against that of the zenith. */
  readonly darkSky: number;
}

/** Earth's radius and the scale height of the air, km. */
const [earthKm, airKm] = [6371, 8];

/**
 * Twilight by the curve of {@link twilightBrighteningMag}; moonlight after Krisciunas & Schaefer 1991, but with the Moon's
 * light dimmed layer by layer on its way into the air that scatters it, which matters when the Moon is low: their one
 * airmass of at most 5 makes moonrise a switch, where the sky in truth brightens from some 3 degrees below the horizon on.
 * The air is taken as exponential, the light as scattered once.
 */
export function predictedLight(sky: SkyConditions, extinctionMagPerAirmass = 0.25): PredictedLight {
  const depth = 0.4 * Math.LN10 * extinctionMagPerAirmass;
  const moon = Math.max(0, sky.moonAltitudeDeg);
  const { moonDistanceKm } = sky;
  const published = moonlightNanolambert({ ...sky, moonAltitudeDeg: moon }, extinctionMagPerAirmass, {
    moonDistanceKm,
  });
  const light = published * Math.exp(depth * scatteringAirmass(moon)) * layeredLight(sky.moonAltitudeDeg, depth);
  return {
    twilight: naturalNanolambert * (10 ** (0.4 * twilightBrighteningMag(sky.sunAltitudeDeg)) - 1),
    moonlight: Number.isNaN(sky.moonAltitudeDeg) ? Number.NaN : light,
    darkSky: 10 ** (-0.4 * airmassLawMag(sky.altitudeDeg, { extinctionMagPerAirmass })),
  };
}

/**
 * The part of a lamp's light that is left where it is scattered, averaged over the air above a place: a layer below which
 * the fraction 1 - p of the air lies receives exp(-depth X p), so the mean is (1 - exp(-depth X)) / (depth X). A lamp below
 * the horizon reaches only layers whose line of sight clears the ground; it has come down to the horizon and risen again.
 * @param depth - of the whole air towards the zenith, natural logarithm
 */
function layeredLight(altitudeDeg: number, depth: number): number {
  if (altitudeDeg >= 0) return meanOver(depth * youngAirmass(altitudeDeg), 1);
  if (altitudeDeg < -8) return 0;
  const sagittaKm = earthKm * (1 - Math.cos((altitudeDeg * Math.PI) / 180));
  const denser = Math.exp(sagittaKm / airKm);
  return meanOver(depth * (2 * youngAirmass(0) * denser - youngAirmass(-altitudeDeg)), 1 / denser);
}

const meanOver = (depth: number, part: number) => (1 - Math.exp(-depth * part)) / depth;
