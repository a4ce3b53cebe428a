// Worked examples of Jean Meeus, Astronomical Algorithms, 2nd edition (Willmann-Bell 1998), for what sky/ computes. The
// printed values were read in a stored test suite that quotes them with their pages, not in the book itself.
import { AstroTime, SiderealTime } from "astronomy-engine";
import { describe, expect, it } from "vitest";
import { parallacticAngleDeg } from "../../src/sky/field-rotation.js";
import { horizontalOf } from "../../src/sky/horizontal.js";
import { placeInSky } from "../../src/sky/place-in-sky.js";
import { refractionOfApparentDeg, refractionOfTrueDeg } from "../../src/sky/refraction.js";

const hours = (h: number, m: number, s: number) => h + m / 60 + s / 3600;

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

describe("chapters 47 and 48, the Moon on 1992 April 12, 0h TD", () => {
  const utcMs = AstroTime.FromTerrestrialTime((Date.UTC(1992, 3, 12) - Date.UTC(2000, 0, 1, 12)) / 86_400_000).date;
  const anywhere = { latitudeDeg: 0, longitudeDeg: 0, heightM: 0 };
  const place = placeInSky(utcMs.getTime(), anywhere, { raDeg: 0, decDeg: 0 });

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
