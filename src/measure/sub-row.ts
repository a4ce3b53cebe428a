import { cornerBlurPx } from "../sky/field-rotation.js";
import { placeInSky } from "../sky/place-in-sky.js";
import type { FrameRow } from "../terms/frame-table.js";
import type { SubFacts } from "./sub-facts.js";
import type { SubMeasurement } from "./sub-measurement.js";

/** A measured sub's row of the frame table: what its header says, what its pixels say, and where it stood. */
export function subRow(facts: SubFacts, measured: SubMeasurement): Partial<FrameRow> {
  const notes = [facts.described.note ?? "", ...measured.notes].filter((note) => note !== "");
  return { ...facts.described, ...measuredBy(measured, facts), ...placedBy(facts), note: notes.join("; ") };
}

function measuredBy(measured: SubMeasurement, { described }: SubFacts): Partial<FrameRow> {
  const { backgroundAdu, noiseAdu, backgroundGradient, starCount, fwhmPx, hfrPx, eccentricity } = measured;
  const { elongationAngleDeg, fieldSpread, saturatedFraction, hotPixels, blockedFraction } = measured;
  return {
    backgroundAdu,
    noiseAdu,
    backgroundGradient,
    starCount,
    fwhmPx,
    fwhmArcsec: fwhmPx * (described.pixelScaleArcsec ?? Number.NaN),
    hfrPx,
    eccentricity,
    elongationAngleDeg,
    fieldSpread,
    saturatedFraction,
    hotPixels,
    streaks: measured.streaks.count,
    blockedFraction,
  };
}

/** Where target, Sun and Moon stood at mid-exposure; nothing where site, target or time is not known. */
function placedBy({ described, site, raDeg, decDeg, startUtcMs }: SubFacts): Partial<FrameRow> {
  const { exposureS = Number.NaN, width = 0, height = 0 } = described;
  if (site === null || raDeg === null || decDeg === null || startUtcMs === null) return {};
  const lengthS = Number.isNaN(exposureS) ? 0 : exposureS;
  const place = placeInSky(startUtcMs + lengthS * 500, site, { raDeg, decDeg });
  const { altitudeDeg, azimuthDeg, airmass, sunAltitudeDeg, moonAltitudeDeg, moonSeparationDeg } = place;
  const { moonIllumination, rotationRateDegPerH } = place;
  const rotationBlurPx = cornerBlurPx(rotationRateDegPerH, lengthS, width, height);
  return {
    altitudeDeg,
    azimuthDeg,
    airmass,
    sunAltitudeDeg,
    moonAltitudeDeg,
    moonSeparationDeg,
    moonIllumination,
    rotationRateDegPerH,
    rotationBlurPx,
  };
}
