// Worked examples of Jean Meeus, Astronomical Algorithms, 2nd edition (Willmann-Bell 1998), for what sky/ computes. The
// printed values were read in a stored test suite that quotes them with their pages, not in the book itself.
import { AstroTime, SiderealTime } from "astronomy-engine";
import { describe, expect, it } from "vitest";
import { fromJulianDate, fromModifiedJulianDate } from "../../src/read/instants.js";
import { wrapDegrees, wrapSignedDegrees } from "../../src/sky/angles.js";
import { parallacticAngleDeg } from "../../src/sky/field-rotation.js";
import { horizontalOf } from "../../src/sky/horizontal.js";
import { placeInSky } from "../../src/sky/place-in-sky.js";
import { refractionOfApparentDeg, refractionOfTrueDeg } from "../../src/sky/refraction.js";
import { type SkyFrame, skyFrame } from "../../src/sky/sky-frame.js";
import type { Vector } from "../../src/sky/vector.js";

const hours = (h: number, m: number, s: number) => h + m / 60 + s / 3600;

const anywhere = { latitudeDeg: 0, longitudeDeg: 0, heightM: 0 };
/** The instant of a date in dynamical time. */
const dynamical = (year: number, month: number, day: number) =>
  AstroTime.FromTerrestrialTime(Date.UTC(year, month - 1, 1) / 86_400_000 + (day - 1) - 10_957.5).date.getTime();
/** Right ascension and declination of date in which a vector from the Earth's centre points. */
function ofDate(utcMs: number, of: (frame: SkyFrame) => Vector) {
  const frame = skyFrame(utcMs, anywhere);
  const { hourAngleDeg, decDeg } = frame.seen(of(frame));
  return { raDeg: wrapDegrees(SiderealTime(new Date(utcMs)) * 15 - hourAngleDeg), decDeg };
}

describe("chapter 7, Julian day", () => {
  it.each([
    [2436116.31, "1957-10-04T19:26:24Z"], // example 7.a, p. 61: October 4.81
    [2451545.0, "2000-01-01T12:00:00Z"], // the others: table on p. 62
    [2451179.5, "1999-01-01T00:00:00Z"],
    [2446822.5, "1987-01-27T00:00:00Z"],
    [2446966.0, "1987-06-19T12:00:00Z"],
    [2447187.5, "1988-01-27T00:00:00Z"],
    [2447332.0, "1988-06-19T12:00:00Z"],
    [2415020.5, "1900-01-01T00:00:00Z"],
    [2305447.5, "1600-01-01T00:00:00Z"],
    [2305812.5, "1600-12-31T00:00:00Z"],
  ])("%d is %s", (jd, iso) => {
    // 0.1 ms: the last place of a double of this size is 0.04 ms.
    expect(Math.abs(fromJulianDate(jd) - Date.parse(iso))).toBeLessThan(0.1);
    expect(Math.abs(fromModifiedJulianDate(jd - 2400000.5) - Date.parse(iso))).toBeLessThan(0.1);
  });
});

describe("chapter 12, sidereal time", () => {
  it("example 12.a, p. 88: apparent sidereal time at Greenwich, 1987 April 10, 0h UT", () => {
    const library = SiderealTime(new Date("1987-04-10T00:00:00Z"));
    // 0.02 s: the book has the models of 1982, the library those of 2000 (it gives 46.143 s).
    expect(Math.abs(library - hours(13, 10, 46.1351)) * 3600).toBeLessThan(0.02);
  });
});

describe("chapters 13 and 14, horizontal coordinates", () => {
  const latitudeDeg = 38 + hours(0, 55, 17);
  const decDeg = -(6 + hours(0, 43, 11.61));
  const raDeg = hours(23, 9, 16.641) * 15;
  const west = 77 + hours(0, 3, 56);
  const hourAngleDeg = SiderealTime(new Date("1987-04-10T19:21:00Z")) * 15 - west - raDeg;

  it("example 13.b, p. 95: Venus from the U.S. Naval Observatory, 1987 April 10, 19:21 UT", () => {
    const { altitudeDeg, azimuthDeg } = horizontalOf(hourAngleDeg, decDeg, latitudeDeg);
    expect(Math.abs(altitudeDeg - 15.1249)).toBeLessThan(1e-4);
    // The book counts azimuth from the south: 68.0337.
    expect(Math.abs(azimuthDeg - 248.0337)).toBeLessThan(1e-4);
  });

  it("equation 14.1, p. 98, with the same figures: computed with PyMeeus, the book prints no example", () => {
    expect(Math.abs(parallacticAngleDeg(64.352133, decDeg, latitudeDeg) - 46.5954)).toBeLessThan(1e-4);
  });
});

describe("chapter 16, refraction", () => {
  const arcmin = (deg: number) => deg * 60;

  it("example 16.a, p. 107: Bennett at an apparent altitude of 0.5 degrees: 28.754'", () => {
    expect(Math.abs(arcmin(refractionOfApparentDeg(0.5)) - 28.754)).toBeLessThan(0.001);
  });

  it("example 16.a: Saemundsson at a true altitude of 33.246': 24.618'", () => {
    expect(Math.abs(arcmin(refractionOfTrueDeg(33.246 / 60)) - 24.618)).toBeLessThan(0.001);
  });

  it("p. 106: Bennett at the zenith: -0.08 arcsec", () => {
    expect(Math.abs(arcmin(refractionOfApparentDeg(90)) * 60 - -0.08)).toBeLessThan(0.01);
  });
});

describe("chapters 23 and 25, apparent places", () => {
  it("example 23.a, p. 152: theta Persei, 2028 November 13.19 TD, proper motion put in by hand", () => {
    const utcMs = dynamical(2028, 11, 13.19);
    const years = 28.86705; // from J2000.0, as the book has it: (2462088.69 - 2451545) / 365.25
    const raDeg = (hours(2, 44, 11.986) + (0.03425 * years) / 3600) * 15;
    const decDeg = hours(49, 13, 42.48) - (0.0895 * years) / 3600;
    const place = ofDate(utcMs, (frame) => frame.apparent({ raDeg, decDeg }));
    // 0.6 arcsec: what placeInSky promises against astropy.
    const cos = Math.cos((49.35 * Math.PI) / 180);
    expect(Math.abs(wrapSignedDegrees(place.raDeg - hours(2, 46, 14.39) * 15)) * 3600 * cos).toBeLessThan(0.6);
    expect(Math.abs(place.decDeg - hours(49, 21, 7.45)) * 3600).toBeLessThan(0.6);
  });

  it("example 25.a, p. 165: the Sun, 1992 October 13, 0h TD: 198.38082, -7.78507", () => {
    const { raDeg, decDeg } = ofDate(dynamical(1992, 10, 13), (frame) => frame.sun());
    // 0.01 degrees: the book's method of low accuracy.
    expect(Math.abs(raDeg - 198.38082)).toBeLessThan(0.01);
    expect(Math.abs(decDeg - -7.78507)).toBeLessThan(0.01);
  });
});

describe("chapters 47 and 48, the Moon on 1992 April 12, 0h TD", () => {
  const utcMs = dynamical(1992, 4, 12);
  const place = placeInSky(utcMs, anywhere, { raDeg: 0, decDeg: 0 });

  it("example 47.a: right ascension 134.688469, declination +13.768367", () => {
    // 0.001 degrees: the book's series is shorter than the library's.
    const { raDeg, decDeg } = ofDate(utcMs, (frame) => frame.moon());
    expect(Math.abs(raDeg - 134.688469)).toBeLessThan(0.001);
    expect(Math.abs(decDeg - 13.768367)).toBeLessThan(0.001);
  });

  it("example 47.a, p. 342: distance 368409.7 km", () => {
    // 20 km: the book's series is shorter than the library's (368394.9 km).
    expect(Math.abs(place.moonDistanceKm - 368_409.7)).toBeLessThan(20);
  });

  it("example 48.a, p. 347: phase angle 69.0756, lit fraction 0.6786", () => {
    // 0.01 degrees: the library's Moon stands 2.5 arcsec from the book's and its Sun has aberration.
    expect(Math.abs(place.moonPhaseAngleDeg - 69.0756)).toBeLessThan(0.01);
    expect(Math.abs(place.moonIllumination - 0.6786)).toBeLessThan(1e-4);
  });
});
