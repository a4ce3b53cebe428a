// The object table against things known apart from it: positions of the check values' session vectors (astropy's ICRS
// inputs), counts of the catalogues, and the order of Caldwell's list, which runs from north to south.
import { describe, expect, it } from "vitest";
import { separationDeg } from "../../src/sky/angles.js";
import { findObject, objectsNear } from "../../src/sky/find-object.js";
import { meanSurfaceMag, objectKinds, skyObjects } from "../../src/sky/objects.js";

describe("the table", () => {
  it.each([
    ["M31", 10.684708, 41.26875],
    ["M42", 83.822083, -5.391111],
    ["M81", 148.888221, 69.065295],
    ["NGC253", 11.888002, -25.28822],
    ["LMC", 80.89386, -69.756126],
  ])("%s stands within 0.02 degrees of the position used with astropy", (name, raDeg, decDeg) => {
    expect(separationDeg(findObject(name)!, { raDeg, decDeg })).toBeLessThan(0.02);
  });

  it("holds all of Messier and of Caldwell", () => {
    const of = (letter: string, n: number) =>
      Array.from({ length: n }, (_, i) => findObject(`${letter}${i + 1}`)).filter((object) => object !== null);
    expect(new Set(of("M", 110)).size).toBe(110);
    expect(new Set(of("C", 109)).size).toBe(109);
  });

  it("Caldwell's numbers run from north to south", () => {
    const decs = Array.from({ length: 109 }, (_, i) => findObject(`C ${i + 1}`)!.decDeg);
    // Neighbours were sorted by hand with rounded or older declinations: 1.5 degrees covers every pair of that list.
    for (let i = 1; i < decs.length; i++) expect(decs[i]! - decs[i - 1]!, `C ${i + 1}`).toBeLessThan(1.5);
  });

  it("every row is in the sky and of a known kind; no two rows share a name", () => {
    const objects = skyObjects();
    expect(objects.length).toBeGreaterThan(1900);
    expect(new Set(objects.map(({ kind }) => kind))).toEqual(new Set(objectKinds));
    expect(new Set(objects.map(({ name }) => name)).size).toBe(objects.length);
    for (const o of objects) {
      expect(o.raDeg >= 0 && o.raDeg < 360 && Math.abs(o.decDeg) <= 90, o.name).toBe(true);
      expect(Number.isNaN(o.majorArcmin) || o.majorArcmin > 0, o.name).toBe(true);
    }
  });

  it("kinds of well-known objects (general knowledge)", () => {
    const kinds = {
      "NGC 6888": "emission-nebula",
      M42: "emission-nebula",
      "IC 1396": "emission-nebula",
      "NGC 7023": "reflection-nebula",
      M78: "reflection-nebula",
      M27: "planetary-nebula",
      M57: "planetary-nebula",
      M1: "supernova-remnant",
      "NGC 6960": "supernova-remnant",
      M31: "galaxy",
      M82: "galaxy",
      M13: "globular-cluster",
      M45: "open-cluster",
      "NGC 869": "open-cluster",
      B33: "dark-nebula",
    };
    for (const [name, kind] of Object.entries(kinds)) expect(findObject(name)?.kind, name).toBe(kind);
  });

  it("surface brightness: a magnitude over one square arcminute is 8.89 mag more a square arcsecond", () => {
    // By hand: 2.5 log10(3600) = 8.8908; an ellipse of area 1 has axes a b = 4 / pi.
    expect(Math.abs(meanSurfaceMag(10, 4 / Math.PI, 1) - 18.8908)).toBeLessThan(1e-3);
    // M 31: 3.4 + 2.5 log10(pi / 4 x 189.1 x 61.7 x 3600) = 22.19.
    expect(Math.abs(findObject("M31")!.surfaceMagArcsec2 - 22.19)).toBeLessThan(0.1);
    expect(findObject("M45")!.surfaceMagArcsec2).toBeNaN();
  });
});

describe("names on OBJECT cards", () => {
  it.each([
    [
      "NGC 6888",
      [
        "NGC6888",
        "ngc 6888",
        "NGC_6888",
        "N6888",
        "NGC-6888",
        "NGC 06888",
        "Crescent Nebula",
        "Crescent",
        "C27",
        "caldwell 27",
        "crescent_nebula_Ha_300s",
        "Sh2-105",
        "Target: NGC6888",
        "NGC6888 panel 1",
      ],
    ],
    [
      "M 31",
      [
        "M31",
        "m 31",
        "M-31",
        "M_31",
        "Messier31",
        "MESSIER 31",
        "NGC224",
        "Andromeda Galaxy",
        "Andromeda",
        "M031",
        "M31_LRGB",
        "M31 Ha",
      ],
    ],
    ["Sh2-101", ["sh2-101", "Sh 2-101", "SH2_101", "Sharpless 101", "sharpless 2-101", "Tulip Nebula", "Sh2 101"]],
    [
      "IC 1396",
      [
        "IC 1396A panel 2",
        "IC1396",
        "ic-1396",
        "Elephant's Trunk",
        "Elephant’s Trunk Nebula",
        "elephants trunk nebula",
      ],
    ],
    ["M 42", ["Target: M42", "object M 42", "Orion Nebula", "the Orion Nebula", "M42 - 10s", "NGC 1976"]],
    ["NGC 6992", ["Veil Nebula", "Veil", "NGC 6992-6995", "Eastern Veil"]],
    ["Sh2-275", ["Rosette", "NGC2237", "Rosette Nebula panel 2 of 4"]],
    ["B 33", ["B33", "Barnard 33", "Horsehead Nebula", "horse head nebula"]],
    ["M 45", ["Pleiades", "m45", "Seven Sisters"]],
  ])("%s in its spellings", (name, spellings) => {
    for (const spelling of spellings) expect(findObject(spelling)?.name, spelling).toBe(name);
  });

  it.each([
    "",
    "unknown",
    "flat",
    "dark",
    "Moon",
    "Jupiter",
    "Vega",
    "HD 189733",
    "C/2023 A3",
    "12P/Pons-Brooks",
    "2023 A3",
    "5945 Roachapproach",
    "NGC 99999",
    "M 111",
    "M0",
    "filter B 300s",
    "L 120s",
    "panel 2",
    "test 31",
    "my garden",
    "Messier",
    "NGC",
    "M31.5",
    "RA 10.68 DEC 41.27",
    "Foc",
    "the",
    "Nebula",
    "gain 100",
  ])("'%s' is no object", (text) => {
    expect(findObject(text)).toBeNull();
  });

  it("what lies near a direction, nearest first", () => {
    expect(
      objectsNear(10.7, 41.2, 1)
        .map(({ name }) => name)
        .slice(0, 3),
    ).toEqual(["M 31", "M 32", "M 110"]);
  });
});
