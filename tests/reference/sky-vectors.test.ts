// Closed forms against validation vectors of SOFA and SLALIB, places in the sky against values that astropy, PyEphem and
// JPL Horizons gave. The numbers were collected beside the project with their sources; none comes from this code.
import { SiderealTime } from "astronomy-engine";
import { describe, expect, it } from "vitest";
import { kastenYoungAirmass } from "../../src/sky/airmass.js";
import { separationDeg, wrapDegrees, wrapSignedDegrees } from "../../src/sky/angles.js";
import {
  cornerBlurPx,
  parallacticAngleDeg,
  rotationRateDegPerH,
  siderealRateDegPerH,
} from "../../src/sky/field-rotation.js";
import { horizontalOf } from "../../src/sky/horizontal.js";
import { placeInSky } from "../../src/sky/place-in-sky.js";
import { refractionOfTrueDeg } from "../../src/sky/refraction.js";
import { skyFrame } from "../../src/sky/sky-frame.js";
import { angleBetweenDeg, lengthOf, type Vector } from "../../src/sky/vector.js";
import { toDegrees } from "../../src/terms/units.js";
import { arcsecBetween, toleranceTable } from "./sky-tolerances.js";

const report = toleranceTable("sky vectors", {
  "closed form": { unit: "rad", max: 1e-13, why: "the vectors' own" },
  "sidereal time": { unit: "s", max: 0.02, why: "the library's nutation is a short series" },
  "target altitude": { unit: "arcsec", max: 6, why: "UT1 is taken as UTC: 0.2 s of these dates is 3 arcsec" },
  "target azimuth x cos(alt)": { unit: "arcsec", max: 6, why: "the same" },
  "hour angle x cos(dec)": { unit: "arcsec", max: 6, why: "the same" },
  "Sun altitude": { unit: "arcsec", max: 6, why: "the same, and three printed decimals are 1.8 arcsec" },
  // ERFA's own note to its Moon (moon98, 3): 2.9 arcsec rms, 18.3 at worst against the full theory; this code is within 1
  // of JPL's. The rms of 6 leaves room for the last printed digit (3.6 arcsec) and UT1.
  "Moon altitude": { unit: "arcsec", max: 18.3, rms: 6, why: "the worst of the reference itself" },
  "Moon azimuth x cos(alt)": { unit: "arcsec", max: 18.3, rms: 6, why: "the same" },
  "Moon of 1979": { unit: "arcsec", max: 19.3, why: "the same, and 0.7 of light time" },
  "Moon separation": { unit: "arcsec", max: 18.3, rms: 6, why: "the same" },
  "lit fraction": { unit: "", max: 2e-4, why: "printed to 1e-4; 4 arcsec of Moon are 1e-5" },
  "parallactic angle": { unit: "deg", max: 0.02, why: "6 arcsec of azimuth 7 degrees from the zenith are 0.014" },
  "rotation rate": {
    unit: "deg/h",
    max: 0.01,
    why: "100 deg/h near the zenith; 1 arcsec of altitude is 0.004, of azimuth 0.002",
  },
  "airmass, no refraction": {
    unit: "",
    max: 2e-4,
    why: "printed to 5e-5; 6 arcsec at 9 degrees are 1e-4 of 6.2, relative",
  },
  "Vega altitude, azimuth": { unit: "arcsec", max: 30, why: "PyEphem, the row's own tolerance: proper motion and UT1" },
  "Horizons Moon": { unit: "arcsec", max: 1, why: "printed to 0.36 arcsec; the row's own tolerance" },
  "lit fraction by PyEphem": { unit: "", max: 0.002, why: "the row's own tolerance" },
  "rotation rate, closed form": { unit: "deg/h", max: 1e-4, why: "azimuth and altitude are printed to 1e-5 degrees" },
});

const deg = (radians: number): number => toDegrees(radians);
const rad = (degrees: number): number => (degrees * Math.PI) / 180;
const holdRad = (actualDeg: number, expectedRad: number, label: string) =>
  report.hold("closed form", rad(wrapSignedDegrees(actualDeg - deg(expectedRad))), label);

// The vectors are printed to 19 digits; here to the 17 that a number holds.
describe("SOFA validation vectors (read in liberfa/erfa, t_erfa_c.c)", () => {
  it("iauHd2ae: hour angle and declination to azimuth and altitude", () => {
    const { altitudeDeg, azimuthDeg } = horizontalOf(deg(1.1), deg(1.2), deg(0.3));
    holdRad(azimuthDeg, 5.916889243730066, "azimuth");
    holdRad(altitudeDeg, 0.44721863049904864, "altitude");
  });

  it("iauAe2hd, the other way round", () => {
    const { altitudeDeg, azimuthDeg } = horizontalOf(deg(0.593329111550731), deg(0.9613934761647818), deg(0.7));
    holdRad(azimuthDeg, 5.5, "azimuth");
    holdRad(altitudeDeg, 1.1, "altitude");
  });

  it("iauHd2pa: parallactic angle", () => {
    holdRad(parallacticAngleDeg(deg(1.1), deg(1.2), deg(0.3)), 1.9062274280019955, "parallactic angle");
  });

  it("iauSeps: separation", () => {
    const a = { raDeg: deg(1.0), decDeg: deg(0.1) };
    const b = { raDeg: deg(0.2), decDeg: deg(-3.0) };
    holdRad(separationDeg(a, b), 2.3467220169969987, "separation");
    expect(separationDeg(a, a)).toBe(0);
  });

  it("iauMoon98: the geocentric Moon at MJD 43999.9 TT", () => {
    // TT - UTC was 50.184 s in May 1979.
    const utcMs = Date.UTC(1858, 10, 17) + 43_999.9 * 86_400_000 - 50_184;
    const moon = skyFrame(utcMs, { latitudeDeg: 0, longitudeDeg: 0, heightM: 0 }).moon();
    const expected: Vector = [-2.601295959971044e-3, 6.139750944302741e-4, 2.640794528229829e-4];
    report.hold("Moon of 1979", angleBetweenDeg(moon, expected) * 3600);
    // 20 km: the distance by two series, as in Meeus's example 47.a.
    expect(Math.abs(lengthOf(moon) - lengthOf(expected)) * 149_597_870.7).toBeLessThan(20);
  });

  it("iauGst06a: the library's apparent sidereal time at MJD 53736.0", () => {
    const hours = SiderealTime(new Date(Date.UTC(1858, 10, 17) + 53_736 * 86_400_000));
    report.hold("sidereal time", (hours - deg(1.754166137675019) / 15) * 3600);
  });
});

describe("SLALIB test values (read in Starlink/pal, palTest.c)", () => {
  it("ALTAZ: azimuth, altitude, parallactic angle and its rate", () => {
    const [h, dec, lat] = [deg(0.7), deg(-0.7), deg(-0.65)];
    const { altitudeDeg, azimuthDeg } = horizontalOf(h, dec, lat);
    holdRad(azimuthDeg, 4.400560746660174, "azimuth");
    holdRad(altitudeDeg, 1.026646506651396, "altitude");
    holdRad(parallacticAngleDeg(h, dec, lat), 1.707639969653937, "parallactic angle");
    const perRadian = rotationRateDegPerH(altitudeDeg, azimuthDeg, lat) / siderealRateDegPerH;
    report.hold("closed form", perRadian - 0.4717832355365627, "rate");
  });

  it("PA: parallactic angle, and 0 at the zenith", () => {
    holdRad(parallacticAngleDeg(deg(-1.567), deg(1.5123), deg(0.987)), -1.486288540423851, "parallactic angle");
    expect(parallacticAngleDeg(0, deg(0.789), deg(0.789))).toBe(0);
  });

  it("DE2H: equatorial to horizon", () => {
    const { altitudeDeg, azimuthDeg } = horizontalOf(deg(-0.3), deg(-1.1), deg(-0.7));
    holdRad(azimuthDeg, 2.820087515852369, "azimuth");
    holdRad(altitudeDeg, 1.132711866443304, "altitude");
  });
});

describe("other programs", () => {
  it("Vega from latitude 0, longitude 0 at 2000-01-01 12:00 UTC (PyEphem, read in astroplan's tests)", () => {
    // The place of Vega is the Hipparcos catalogue's.
    const vega = { raDeg: 279.23473479, decDeg: 38.78368896 };
    const place = placeInSky(Date.UTC(2000, 0, 1, 12), { latitudeDeg: 0, longitudeDeg: 0, heightM: 0 }, vega);
    report.hold("Vega altitude, azimuth", arcsecBetween(place.altitudeDeg, 51.19884872), "altitude");
    report.hold("Vega altitude, azimuth", arcsecBetween(place.azimuthDeg, 358.46767074), "azimuth");
  });

  it("parallactic angle by the calculator of NASA's IRTF (read in astroplan's tests)", () => {
    expect(Math.abs(parallacticAngleDeg(45, -30, 19.826218) - 46.7237968)).toBeLessThan(0.1);
    expect(Math.abs(parallacticAngleDeg(-75, -30, 19.826218) - -65.428924)).toBeLessThan(0.1);
  });

  it.each([
    ["1990-01-01T00:00Z", 0.154755],
    ["1990-03-01T06:00Z", 0.194842],
    ["1990-06-01T12:00Z", 0.617084],
    ["1990-11-01T18:00Z", 0.978022],
  ])("lit fraction of the Moon at %s (PyEphem, read in astroplan's tests)", (instant, fraction) => {
    const place = placeInSky(
      Date.parse(instant),
      { latitudeDeg: 19, longitudeDeg: -155, heightM: 0 },
      { raDeg: 0, decDeg: 0 },
    );
    report.hold("lit fraction by PyEphem", place.moonIllumination - fraction);
  });

  it.each([
    ["2018-12-02T01:00Z", 355.354, -58.701],
    ["2018-12-02T03:00Z", 44.3382, -50.1093],
    ["2018-12-02T09:00Z", 101.6465, 19.9285],
    ["2018-12-02T13:30Z", 178.0133, 59.9835],
  ])(
    "the Moon from Florida at %s (JPL Horizons, DE431, read in cosinekitty/astronomy)",
    (instant, azimuthDeg, altitudeDeg) => {
      const site = { latitudeDeg: 29, longitudeDeg: -81, heightM: 10 };
      const place = placeInSky(Date.parse(instant), site, { raDeg: 0, decDeg: 0 });
      // The file has refraction in, and Horizons gives all below -1 degree the refraction of -1 degree.
      const apparentDeg = place.moonAltitudeDeg + refractionOfTrueDeg(Math.max(-1, place.moonAltitudeDeg));
      report.hold("Horizons Moon", arcsecBetween(apparentDeg, altitudeDeg), "altitude");
      const cos = Math.cos(rad(altitudeDeg));
      report.hold("Horizons Moon", arcsecBetween(place.moonAzimuthDeg, azimuthDeg) * cos, "azimuth");
    },
  );
});

const laPalma = { latitudeDeg: 28.7606, longitudeDeg: -17.8816, heightM: 2396 };
const vienna = { latitudeDeg: 48.2, longitudeDeg: 16.4, heightM: 200 };
const sidingSpring = { latitudeDeg: -31.2733, longitudeDeg: 149.0617, heightM: 1165 };
const tromso = { latitudeDeg: 69.65, longitudeDeg: 18.96, heightM: 50 };
const m31 = { raDeg: 10.684708, decDeg: 41.26875 };
const m42 = { raDeg: 83.822083, decDeg: -5.391111 };
const m81 = { raDeg: 148.888221, decDeg: 69.065295 };
const ngc253 = { raDeg: 11.888002, decDeg: -25.28822 };
const lmc = { raDeg: 80.89386, decDeg: -69.756126 };

/**
 * astropy 5.2.1, IERS-B, topocentric, no refraction: hour angle, altitude, azimuth, parallactic angle, Kasten & Young of
 * that altitude, MINUS the rate of the parallactic angle; Moon altitude, azimuth, separation, lit fraction; Sun altitude.
 */
const sessions = [
  [
    "M31 from La Palma",
    laPalma,
    m31,
    "2021-11-05T21:30Z",
    [-21.0404, 68.7419, 47.9783, -119.766, 1.0725, 24.345, -30.806, 263.117, 137.05, 0.0154, -41.256],
  ],
  [
    "M42 from La Palma",
    laPalma,
    m42,
    "2021-12-11T01:15Z",
    [-3.2471, 55.7197, 174.2538, -5.058, 1.2094, -23.293, -4.319, 261.619, 92.087, 0.4998, -83.786],
  ],
  [
    "M81 from La Palma",
    laPalma,
    m81,
    "2021-11-05T21:30Z",
    [-159.3785, 8.8871, 7.3533, -18.21, 6.2295, 13.236, -30.806, 263.117, 106.727, 0.0154, -41.256],
  ],
  [
    "M31 from Vienna",
    vienna,
    m31,
    "2020-10-17T22:00Z",
    [2.2859, 82.9936, 194.2026, 12.589, 1.0072, -79.676, -48.333, 320.219, 142.104, 0.0197, -50.584],
  ],
  [
    "M81 from Vienna",
    vienna,
    m81,
    "2020-10-17T20:00Z",
    [-166.1199, 27.6153, 5.5767, -10.396, 2.1499, 11.261, -32.338, 289.674, 93.761, 0.017, -38.978],
  ],
  [
    "NGC 253 from Siding Spring",
    sidingSpring,
    ngc253,
    "2020-09-15T15:00Z",
    [-3.0521, 83.3355, 24.5319, -156.913, 1.0065, 100.772, -53.45, 104.723, 141.826, 0.05, -57.975],
  ],
  [
    "Large Magellanic Cloud from Siding Spring",
    sidingSpring,
    lmc,
    "2020-12-14T13:30Z",
    [-5.6299, 51.4042, 176.8781, -7.724, 1.2784, -20.577, -35.99, 186.113, 87.769, 0.0002, -35.046],
  ],
  [
    "M42 from Siding Spring",
    sidingSpring,
    m42,
    "2020-12-14T13:30Z",
    [-8.8432, 62.8081, 19.5684, -163.29, 1.1236, 26.507, -35.99, 186.113, 151.92, 0.0002, -35.046],
  ],
  [
    "M31 from Tromsø",
    tromso,
    m31,
    "2021-01-13T18:00Z",
    [31.4235, 57.4052, 226.5639, 19.668, 1.1861, -6.676, -25.664, 269.481, 90.533, 0.0046, -25.761],
  ],
] as const;

describe("sessions", () => {
  it.each(sessions)("%s", (_, site, target, instant, expected) => {
    const [ha, alt, az, q, airmass, minusRate, moonAlt, moonAz, moonSep, lit, sunAlt] = expected;
    const place = placeInSky(Date.parse(instant), site, target);
    report.hold("hour angle x cos(dec)", arcsecBetween(place.hourAngleDeg, ha) * Math.cos(rad(target.decDeg)));
    report.hold("target altitude", arcsecBetween(place.altitudeDeg, alt));
    report.hold("target azimuth x cos(alt)", arcsecBetween(place.azimuthDeg, az) * Math.cos(rad(alt)));
    report.hold("parallactic angle", wrapSignedDegrees(place.parallacticAngleDeg - q));
    report.hold("rotation rate", place.rotationRateDegPerH + minusRate);
    report.hold("airmass, no refraction", kastenYoungAirmass(place.altitudeDeg) - airmass);
    report.hold("Moon altitude", arcsecBetween(place.moonAltitudeDeg, moonAlt));
    report.hold("Moon azimuth x cos(alt)", arcsecBetween(place.moonAzimuthDeg, moonAz) * Math.cos(rad(moonAlt)));
    report.hold("Moon separation", arcsecBetween(place.moonSeparationDeg, moonSep));
    report.hold("lit fraction", place.moonIllumination - lit);
    report.hold("Sun altitude", arcsecBetween(place.sunAltitudeDeg, sunAlt));
  });
});

describe("field rotation of an alt-azimuth mount", () => {
  // Latitude, hour angle in h, declination; azimuth, altitude, parallactic angle, rate (ERFA hd2pa by finite difference).
  it.each([
    [40, 0.5, 20, 200.00753, 68.99262, 16.19564, 30.2011],
    [40, 3, 20, 256.04574, 46.79045, 52.29306, 4.05821],
    [40, -2, -10, 144.14022, 32.80055, -27.10833, 11.10941],
    [28.7606, 1, 41.27, 319.64317, 72.51762, 130.95162, -33.44651],
    [-31.27, 2, -25.29, 275.22032, 63.00186, 109.70974, -2.57669],
    [51.5, 0.1, 50, 212.90483, 88.22506, 31.74312, 253.80294],
    [69.65, -4, 40, 101.55068, 47.38045, -26.40843, 1.54675],
  ])("latitude %d, hour angle %d h, declination %d", (lat, hours, dec, az, alt, q, rate) => {
    const { altitudeDeg, azimuthDeg } = horizontalOf(hours * 15, dec, lat);
    expect(Math.abs(azimuthDeg - az)).toBeLessThan(1e-5);
    expect(Math.abs(altitudeDeg - alt)).toBeLessThan(1e-5);
    expect(Math.abs(parallacticAngleDeg(hours * 15, dec, lat) - q)).toBeLessThan(1e-5);
    report.hold("rotation rate, closed form", rotationRateDegPerH(altitudeDeg, azimuthDeg, lat) - rate);
  });

  it.each([
    [92 + 45 / 60 + 18.9 / 3600, 45 + 30 / 60 + 25.3 / 3600, -0.745],
    [157 + 10 / 60 + 29.0 / 3600, 73 + 8 / 60 + 28.1 / 3600, -34.506],
    [255 + 5 / 60 + 54.8 / 3600, 55 + 56 / 60 + 17.6 / 3600, -4.985],
  ])("Albireo from Pine Mountain at azimuth %d (table on stargazing.net, sign of cos A)", (az, alt, arcsecPerS) => {
    // The table prints +15.041 cos(phi) cos(A) / cos(h), our rate with the other sign. Degrees per hour = arcsec per second.
    expect(Math.abs(-rotationRateDegPerH(alt, az, 43.79) - arcsecPerS)).toBeLessThan(0.003);
  });

  it("a rate smears the corner by half the diagonal times the angle", () => {
    // By hand: 5 px from the centre to the corner of 6 x 8, 90 degrees in an hour: 5 x pi / 2.
    expect(cornerBlurPx(-90, 3600, 6, 8)).toBeCloseTo((5 * Math.PI) / 2, 12);
    expect(cornerBlurPx(90, 0, 6, 8)).toBe(0);
  });
});

describe("arguments", () => {
  it("angles wrap", () => {
    expect([-1, 0, 360, 725, -1e-20].map(wrapDegrees)).toEqual([359, 0, 0, 5, 0]);
    expect([180, -180, 190, -190].map(wrapSignedDegrees)).toEqual([-180, -180, -170, 170]);
  });

  it("what makes no sense is refused with the name and the range", () => {
    const now = Date.UTC(2021, 0, 1);
    expect(() => placeInSky(now, { ...vienna, latitudeDeg: 91 }, m31)).toThrow(/latitudeDeg is 91. Give -90 to 90/);
    expect(() => placeInSky(now, { ...vienna, longitudeDeg: Number.NaN }, m31)).toThrow(/longitudeDeg is NaN/);
    expect(() => placeInSky(now, vienna, { raDeg: 361, decDeg: 0 })).toThrow(/raDeg is 361.*multiply hours by 15/);
    expect(() => placeInSky(Number.NaN, vienna, m31)).toThrow(/utcMs is NaN/);
  });

  it("the same call gives the same numbers, and a target below the horizon has no airmass", () => {
    const place = placeInSky(Date.UTC(2021, 10, 5, 21, 30), laPalma, { raDeg: 200, decDeg: -70 });
    expect(place.altitudeDeg).toBeLessThan(-10);
    expect(place.airmass).toBeNaN();
    expect(placeInSky(Date.UTC(2021, 10, 5, 21, 30), laPalma, { raDeg: 200, decDeg: -70 })).toEqual(place);
  });
});
