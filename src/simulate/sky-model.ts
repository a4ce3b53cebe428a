import { settle, steadyCosDeg, steadyPow10 } from "../numbers/steady-math.js";
import { magOfNanolambert } from "../sky/nanolambert.js";
import { placeInSky, type SkyPlace } from "../sky/place-in-sky.js";
import { skyBrightness } from "../sky/sky-brightness.js";
import type { FilterTerms, Scenario, TargetTerms } from "./scenario-shape.js";

/** Photons a second and square metre of a star of V = 0, over the V band: the value of the five-band worked example that the check values quote. */
const photonsOfV0 = 8.79e9;
/** Width of the V band, nm. */
const widthOfV = 88;
/** Photons a second, square metre and square arcsecond of one rayleigh: 1e10 / 4 pi photons/s/m2/sr x 2.3504e-11 sr. */
const photonsOfRayleigh = 0.018704;

/** How many electrons the set-up makes of light. */
export interface Rates {
  readonly pixelScaleArcsec: number;
  /** Electrons/s of a star of V = 0 outside the air. */
  readonly starOfMag0: number;
  /** Electrons/s/px of a surface of V = 0 mag/arcsec2. */
  readonly surfaceOfMag0: number;
  /** Electrons/s/px of one rayleigh of line emission. */
  readonly rayleigh: number;
}

/** The sky angle of a pixel, arcsec: 206.265 x um / mm. */
export const pixelScaleOf = (telescope: Scenario["telescope"], camera: Scenario["camera"]): number =>
  (206.264806247 * camera.pixelSizeUm) / telescope.focalLengthMm;

/** What telescope, camera and filter make of light. */
export function ratesOf({ telescope, camera }: Scenario, filter: FilterTerms): Rates {
  const apertureM = telescope.apertureMm / 1000;
  const areaM2 = 0.7853981633974483 * apertureM * apertureM * (1 - telescope.obstruction * telescope.obstruction);
  const all = areaM2 * telescope.transmission * camera.quantumEfficiency;
  const pixelScaleArcsec = pixelScaleOf(telescope, camera);
  const starOfMag0 = (photonsOfV0 * all * filter.transmission * filter.widthNm) / widthOfV;
  const pixelArcsec2 = pixelScaleArcsec * pixelScaleArcsec;
  return {
    pixelScaleArcsec,
    starOfMag0,
    surfaceOfMag0: starOfMag0 * pixelArcsec2,
    rayleigh: photonsOfRayleigh * all * filter.lineTransmission * pixelArcsec2,
  };
}

/** Target, Sun and Moon at an instant, rounded so that no engine's last bit gets through (see `settle`). */
export type SettledPlace = Pick<
  SkyPlace,
  | "altitudeDeg"
  | "azimuthDeg"
  | "airmass"
  | "hourAngleDeg"
  | "parallacticAngleDeg"
  | "rotationRateDegPerH"
  | "sunAltitudeDeg"
  | "moonAltitudeDeg"
  | "moonSeparationDeg"
  | "moonIllumination"
> & {
  /** Brightness of the sky in V mag/arcsec2 and of its parts: dark sky (at the target and at the zenith), Moon, twilight. */
  readonly darkMag: number;
  readonly moonMag: number;
  readonly twilightMag: number;
};

/** A magnitude for no light at all, dim enough to vanish and finite. */
const nothingMag = 60;
/** Daylight: the twilight curve ends at -0.9 degrees; brighter than this every sub is saturated anyway. */
const dayMag = 5;

/**
 * Where a target stands and how bright its sky is.
 * @throws CallError when the instant is out of range
 */
export function settledPlace(utcMs: number, scenario: Scenario, target: TargetTerms): SettledPlace {
  const { site } = scenario;
  const place = placeInSky(utcMs, site, target);
  const sky = skyBrightness(place, {
    darkZenithMag: site.darkZenithMag,
    extinctionMagPerAirmass: site.extinctionMag,
  });
  const mag = (nanolambert: number) =>
    Number.isNaN(nanolambert) ? dayMag : nanolambert > 1e-9 ? settle(magOfNanolambert(nanolambert), 5) : nothingMag;
  return {
    altitudeDeg: settle(place.altitudeDeg, 4),
    azimuthDeg: settle(place.azimuthDeg, 4),
    // A target below the horizon is a wish, not a night; 40 is the airmass of the horizon.
    airmass: Number.isNaN(place.airmass) ? 40 : settle(place.airmass, 5),
    hourAngleDeg: settle(place.hourAngleDeg, 4),
    parallacticAngleDeg: settle(place.parallacticAngleDeg, 4),
    rotationRateDegPerH: settle(place.rotationRateDegPerH, 4),
    sunAltitudeDeg: settle(place.sunAltitudeDeg, 4),
    moonAltitudeDeg: settle(place.moonAltitudeDeg, 4),
    moonSeparationDeg: settle(place.moonSeparationDeg, 4),
    moonIllumination: settle(place.moonIllumination, 5),
    darkMag: mag(sky.darkNanolambert),
    moonMag: mag(sky.moonlightNanolambert),
    twilightMag: mag(sky.twilightNanolambert),
  };
}

/** Sky in electrons/s/px, in its parts, without clouds. */
export interface SkyRates {
  /** Dark sky at the target. */
  readonly dark: number;
  /** The same if the target stood at the zenith. */
  readonly darkAtZenith: number;
  readonly moon: number;
  readonly twilight: number;
}

/** What the camera sees of a clear sky through a filter. */
export function skyRates(place: SettledPlace, { site }: Scenario, filter: FilterTerms, rates: Rates): SkyRates {
  const rate = (mag: number) => rates.surfaceOfMag0 * steadyPow10(-0.4 * mag);
  const towards = steadyCosDeg(place.azimuthDeg - site.townAzimuthDeg) * steadyCosDeg(place.altitudeDeg);
  // cos 30 degrees: half of the gradient is added towards the town and taken off away from it.
  const town = 1 + (0.5 * site.townGradient * towards) / 0.8660254037844386;
  return {
    dark: rate(place.darkMag) * filter.townLight * Math.max(0.1, town),
    darkAtZenith: rate(site.darkZenithMag) * filter.townLight,
    moon: rate(place.moonMag),
    twilight: rate(place.twilightMag),
  };
}

/** What comes through the air at an airmass: 10^(-0.4 k X). */
export const airTransmission = ({ site }: Scenario, filter: FilterTerms, airmass: number): number =>
  steadyPow10(-0.4 * site.extinctionMag * filter.extinctionFactor * airmass);
