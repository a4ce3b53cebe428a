import { eventShape } from "./event-shapes.js";
import { anyKind, colours, list, named, number, type Of, object, oneOf, orNull, text, whole } from "./json-shape.js";

const site = object("where the telescope stands", {
  name: text("name of the place"),
  latitudeDeg: number("north positive", -90, 90),
  longitudeDeg: number("east positive", -180, 180),
  heightM: number("above sea level", -500, 9000, 0),
  darkZenithMag: number("V mag/arcsec2 at the zenith without Moon and twilight, town light included", 10, 23, 20.3),
  extinctionMag: number("V magnitudes an airmass", 0, 3, 0.25),
  townAzimuthDeg: number("direction of the town, from north through east", 0, 360, 180),
  townGradient: number("how much brighter the sky is 30 degrees up towards the town than away from it", 0, 5, 0.3),
  skyGradientPerDeg: number(
    "growth of the sky's brightness a degree towards the horizon, at 45 degrees up",
    0,
    0.5,
    0.02,
  ),
  skyColour: colours("colour of the sky in a one-shot-colour camera", [1.05, 1, 0.8]),
});

const air = object(
  "the air of the night",
  {
    seeingArcsec: number("FWHM at the zenith, without telescope and pixel", 0, 30, 2.6),
    seeingWander: number("standard deviation of its slow wander, as a fraction", 0, 1, 0.06),
    seeingWanderMin: number("minutes over which the wander is alike", 0.1, 600, 20),
    transparencyWander: number("standard deviation of the slow wander of transparency, magnitudes", 0, 1, 0.01),
    temperatureC: number("at the start of the night", -60, 50, 10),
    coolingCPerHour: number("fall of the temperature an hour", -20, 20, 0.8),
  },
  "may-be-left-out",
);

const telescope = object("the optics and the mount", {
  name: text("name in the headers"),
  apertureMm: number("clear aperture", 5, 20_000),
  focalLengthMm: number("focal length", 5, 200_000),
  transmission: number("of optics and obstruction", 0.01, 1, 0.85),
  obstruction: number("diameter of the obstruction, as a fraction of the aperture", 0, 0.9, 0),
  opticsPx: number("FWHM that the optics add to the seeing in the middle of the field", 0, 50, 1),
  beta: number("Moffat exponent of the stars", 1.2, 20, 3.2),
  cornerWidening: number("FWHM in the corner, relative to the middle", 1, 5, 1.12),
  cornerEllipticity: number("ellipticity 1 - b/a in the corner, towards or away from the middle", -0.8, 0.8, 0.08),
  ellipticity: number("ellipticity 1 - b/a everywhere", 0, 0.8, 0.03),
  ellipticityAngleDeg: number("its direction, from +x towards +y", -360, 360, 30),
  vignetting: number("loss of light in the corner", 0, 1, 0.2),
  mount: oneOf("how it follows the sky", ["alt-azimuth", "equatorial"], "equatorial"),
  meridianFlip: oneOf("whether an equatorial mount turns the field over at the meridian", ["yes", "no"], "yes"),
  driftPxPerHour: number("slow drift of the field along +x", -1000, 1000, 0),
  driftYPxPerHour: number("slow drift of the field along +y", -1000, 1000, 0),
  ditherPx: number("radius within which the field is moved between frames", 0, 1000, 0),
  ditherEvery: whole("frames between such movements", 1, 10_000, 1),
  jitterPx: number("standard deviation of the field's position from frame to frame", 0, 100, 0.15),
});

const camera = object("the camera", {
  name: text("name in the headers"),
  width: whole("px", 16, 20_000),
  height: whole("px", 16, 20_000),
  pixelSizeUm: number("edge of a pixel", 0.5, 100),
  quantumEfficiency: number("electrons a photon", 0.01, 1, 0.75),
  bayer: oneOf("colour mosaic, first stored row first; empty: mono", ["", "RGGB", "BGGR", "GRBG", "GBRG"], ""),
  readNoiseE: number("electrons", 0, 200, 1.6),
  electronsPerAdu: number("electrons an ADU", 0.001, 100, 1),
  gainSetting: number("the number that the camera calls gain", 0, 10_000, 100),
  offsetAdu: number("pedestal", 0, 60_000, 500),
  fullWellE: number("electrons that a pixel holds", 100, 1e7, 50_000),
  adcBits: whole("bits of the converter", 8, 16, 16),
  darkEPerS: number("dark current at the reference temperature, electrons/s/px", 0, 100, 0.003),
  darkReferenceC: number("reference temperature", -100, 60, -10),
  darkDoublingC: number("warming that doubles the dark current", 1, 50, 6.2),
  hotPixelFraction: number("part of the pixels that are hot", 0, 0.1, 0.0003),
  hotPixelEPerS: number("their median dark current at the reference temperature", 0, 1e5, 1.5),
  coolingC: orNull(number("sensor temperature held by cooling; null: it follows the air", -100, 50)),
  aboveAirC: number("how much warmer than the air an uncooled sensor is", -20, 40, 6),
});

const filter = object("a filter", {
  kind: oneOf("what it lets through", ["broadband", "narrowband", "dual-band", "none"]),
  widthNm: number("width of the pass bands together", 0.5, 1000),
  transmission: number("in the pass band", 0.01, 1, 0.92),
  lineTransmission: number("of the light of emission nebulae", 0, 1, 0.92),
  townLight: number("part of the town's light that its band meets, relative to daylight colours", 0, 2, 1),
  extinctionFactor: number("extinction relative to V", 0, 3, 1),
  focusOffsetPx: number("diameter of the blur disk that the filter adds when the focus is not set anew", 0, 50, 0),
});

const glow = anyKind("the object itself", {
  nebula: object("an emission nebula: knots and dark lanes in a round glow", {
    sizeArcmin: number("diameter", 0.1, 600),
    peakRayleigh: number("brightness of its emission lines in the middle", 0, 1e5, 300),
    contrast: number("0: smooth; 1: torn", 0, 1, 0.6),
  }),
  galaxy: object("an exponential disk with a bulge and arms", {
    sizeArcmin: number("diameter of the disk along its long axis (six scale lengths)", 0.1, 600),
    axisRatio: number("short by long axis", 0.05, 1, 0.4),
    angleDeg: number("position angle of the long axis, from north through east", -360, 360, 0),
    centreMagArcsec2: number("V surface brightness of the disk's middle", 12, 28, 20.5),
  }),
  none: object("stars only", {}),
});

const target = object("a target", {
  raDeg: number("ICRS", 0, 360),
  decDeg: number("ICRS", -90, 90),
  starsPerDeg2AtMag12: orNull(number("stars brighter than V 12; null: from the galactic latitude", 0, 1e5)),
  starSlope: number("growth of log10 of the star count a magnitude", 0, 1, 0.34),
  glow,
});

const header = object(
  "how the files are written",
  {
    dialect: oneOf("habit of the headers", ["garden", "observatory", "terse"], "garden"),
    compression: oneOf("of the pixels", ["rice", "none"], "none"),
    checksums: oneOf("CHECKSUM and DATASUM", ["yes", "no"], "yes"),
    name: text(
      "file name, with {target} {filter} {exposure} {number} {temp} {date}; the extension is added",
      "{target}_{filter}_{exposure}s_{number}",
      /\{number\}/,
      "a text that contains {number}",
    ),
    observer: text("name in the headers", "", /^/),
  },
  "may-be-left-out",
);

const block = object("frames in a row", {
  target: text("name of a target"),
  filter: text("name of a filter"),
  exposureS: number("exposure time", 0.001, 7200),
  frames: whole("how many", 1, 100_000),
  pauseMin: number("pause before the first", 0, 1440, 0),
});

const night = object("a night", {
  name: text("name of its folder", undefined, /^[\w.-]+$/, "a name of letters, digits, dots and dashes"),
  startUtc: text(
    "start of the first exposure",
    undefined,
    /^\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?Z$/,
    '"YYYY-MM-DDThh:mm:ssZ"',
  ),
  readOutS: number("time between exposures", 0, 3600, 2),
  blocks: list("what is exposed, in order", block, 1),
  repeat: whole("how often the list of blocks is run through", 1, 10_000, 1),
  events: list("what happens", eventShape, 0, []),
  air,
  header: orNull(header),
});

/** A scenario: everything that a simulated night, or several, is made from. */
export const scenarioShape = object("a scenario", {
  name: text("short name"),
  about: text("what it shows", "", /^/),
  seed: whole("of all that is random", 0, 4294967295, 1),
  site,
  telescope,
  camera,
  filters: named("filters by name", filter),
  targets: named("targets by name", target),
  header,
  nights: list("the nights", night, 1),
});

export type Scenario = Of<typeof scenarioShape>;
export type Night = Scenario["nights"][number];
export type FilterTerms = Scenario["filters"][string];
export type TargetTerms = Scenario["targets"][string];
export type HeaderTerms = Scenario["header"];
