// The codes and column names are stable: users' notebooks and lists read them (design: stable parts).
import { expect, it } from "vitest";
import { causeCodes } from "../../src/terms/causes.js";
import { columnNames } from "../../src/terms/frame-table.js";
import { symptomCodes, symptomRegistry } from "../../src/terms/symptoms.js";
import { verdicts } from "../../src/terms/verdicts.js";

it("verdicts, symptoms and causes are the agreed ones", () => {
  expect(verdicts.join(" ")).toBe("keep borderline drop unjudged");
  expect(symptomCodes.join(" ")).toBe(
    "few-stars faint-stars bright-background noisy-background uneven-background wide-stars elongated-stars " +
      "rotated-corners streak saturated blocked-area shifted-field unreadable",
  );
  expect(causeCodes.join(" ")).toBe(
    "cloud twilight moonlight low-altitude focus wind tracking field-rotation dew obstruction warm-sensor " +
      "satellite-or-aircraft bad-file unknown",
  );
  for (const { short, long } of Object.values(symptomRegistry)) expect(long.length).toBeGreaterThan(short.length);
});

it("the frame table has the agreed columns in the agreed order", () => {
  expect(columnNames.join(", ")).toBe(
    "file, kind, target, filter, filterKind, startUtc, exposureS, gainSetting, sensorTempC, width, height, bayer, " +
      "pixelScaleArcsec, backgroundAdu, noiseAdu, backgroundGradient, starCount, fwhmPx, fwhmArcsec, hfrPx, eccentricity, " +
      "elongationAngleDeg, fieldSpread, saturatedFraction, hotPixels, streaks, blockedFraction, transparency, " +
      "transparencyError, shiftXPx, shiftYPx, rotationDeg, altitudeDeg, azimuthDeg, airmass, sunAltitudeDeg, " +
      "moonAltitudeDeg, moonSeparationDeg, moonIllumination, rotationRateDegPerH, rotationBlurPx, skyMagArcsec2, " +
      "effectiveExposureS, weight, verdict, symptoms, cause, causeProbability, note",
  );
});
