// Sky brightness: published equations, one published worked example, and values computed apart from this code with Python
// from the same printed equations (marked "computed").
import { describe, expect, it } from "vitest";
import { bortleClassOf, zenithRangeOfBortle } from "../../src/sky/bortle.js";
import { extinctionAtHeight, transmission } from "../../src/sky/extinction.js";
import { moonlightNanolambert, moonMagnitude } from "../../src/sky/moonlight.js";
import { candelaPerM2OfMag, magOfNanolambert, nanolambertOfMag } from "../../src/sky/nanolambert.js";
import { placeInSky } from "../../src/sky/place-in-sky.js";
import {
  airmassLawMag,
  calibrateDarkZenith,
  calibrateSkyConstant,
  layerMag,
  naturalZenithMag,
  type SkyConditions,
  skyBrightness,
} from "../../src/sky/sky-brightness.js";
import { twilightBrighteningMag } from "../../src/sky/twilight-glow.js";

/** Phase angle, separation, zenith distance of the sky and of the Moon. */
const geometry = (phase: number, separation: number, z: number, zMoon: number) => ({
  moonPhaseAngleDeg: phase,
  moonSeparationDeg: separation,
  altitudeDeg: 90 - z,
  moonAltitudeDeg: 90 - zMoon,
});

describe("units", () => {
  it.each([
    [22, 54.008],
    [21.587, 79.006],
    [20, 340.771],
    [18, 2150.145],
  ])("Garstang 1986 eq. 19: V %d is %d nL (computed)", (mag, nanolambert) => {
    expect(Math.abs(nanolambertOfMag(mag) / nanolambert - 1)).toBeLessThan(1e-5);
    expect(Math.abs(magOfNanolambert(nanolambert) - mag)).toBeLessThan(1e-5);
  });

  it.each([
    [22, 1.711685e-4],
    [21, 4.299557e-4],
    [18, 6.814339e-3],
  ])("V %d is %d cd/m2 by the same page's formula (computed)", (mag, candela) => {
    expect(Math.abs(candelaPerM2OfMag(mag) / candela - 1)).toBeLessThan(1e-6);
  });

  it("half a magnitude darker is 36.90 % less light (printed on the same page)", () => {
    const lessPercent = 100 * (1 - candelaPerM2OfMag(21.5) / candelaPerM2OfMag(21));
    expect(lessPercent.toFixed(2)).toBe("36.90");
  });

  it("Garstang's nanolamberts, 1 nL = 1e-5 / pi cd/m2, are 0.44 % above the page's formula (computed)", () => {
    for (const mag of [18, 22])
      expect(Math.abs((nanolambertOfMag(mag) * 1e-5) / Math.PI / candelaPerM2OfMag(mag) - 1.0044)).toBeLessThan(1e-4);
  });

  it("16.60 mag/arcsec2 is 24741.37 microcandela/m2 (example printed on unihedron.com)", () => {
    expect(Math.abs(candelaPerM2OfMag(16.6) * 1e6 - 24741.37)).toBeLessThan(0.01);
  });
});

describe("moonlight, Krisciunas & Schaefer 1991", () => {
  it("the worked example printed in the specsim documentation: V 19.855", () => {
    const light = moonlightNanolambert(geometry(45, 50, 20, 70), 0.15);
    expect(Math.abs(magOfNanolambert(light) - 19.855)).toBeLessThan(0.001);
    // Computed: 389.516 nL.
    expect(Math.abs(light - 389.516)).toBeLessThan(0.01);
  });

  it.each([
    ["full", 0, 60, 0, 60, 0.172, 1089.859],
    ["half", 90, 60, 0, 60, 0.172, 99.173],
    ["30 degrees from full", 30, 60, 0, 60, 0.172, 529.754],
    ["60 degrees from full", 60, 60, 0, 60, 0.172, 246.964],
    ["120 degrees from full", 120, 60, 0, 60, 0.172, 28.681],
    ["full, near", 0, 30, 30, 60, 0.172, 2387.165],
    ["full, at right angles", 0, 90, 45, 45, 0.172, 1155.706],
    ["full, far, thick air", 0, 120, 60, 60, 0.25, 2003.988],
    ["thin crescent", 150, 40, 60, 80, 0.3, 9.143],
  ])("%s (computed)", (_, phase, separation, z, zMoon, k, nanolambert) => {
    const light = moonlightNanolambert(geometry(phase, separation, z, zMoon), k);
    expect(Math.abs(light - nanolambert)).toBeLessThan(0.001);
  });

  it("a full Moon takes a sky of 79.0 nL from V 21.587 to 18.6618 (computed)", () => {
    const light = moonlightNanolambert(geometry(0, 60, 0, 60), 0.172);
    expect(Math.abs(magOfNanolambert(79 + light) - 18.6618)).toBeLessThan(1e-4);
  });

  // Phase, k, zenith distance of sky and Moon, separation; the dark sky at 79.0 nL by the paper's own law (airglowFraction
  // 1); by how much moonlight brightens it.
  it.each([
    [0, 0.172, 0, 60, 60, -2.9253],
    [30, 0.172, 0, 60, 60, -2.217],
    [60, 0.172, 0, 60, 60, -1.5389],
    [90, 0.172, 0, 60, 60, -0.883],
    [120, 0.172, 0, 60, 60, -0.3363],
    [150, 0.3, 60, 80, 40, -0.0819],
  ])("moonlight of phase %d brightens a natural sky (computed)", (phase, k, z, zMoon, separation, mag) => {
    const model = { darkZenithMag: magOfNanolambert(79), extinctionMagPerAirmass: k, airglowFraction: 1 };
    const moonDistanceKm = 60.27 * 6378.137;
    const sky = { ...geometry(phase, separation, z, zMoon), sunAltitudeDeg: -40, moonDistanceKm };
    const dark = skyBrightness({ ...sky, moonAltitudeDeg: -10 }, model);
    expect(Math.abs(skyBrightness(sky, model).magArcsec2 - dark.magArcsec2 - mag)).toBeLessThan(1e-4);
  });

  it("within 10 degrees eq. 19 takes the place of the Mie term: 6.2e7 / 5^2 = 2.48e6", () => {
    // What is left of the light after the Rayleigh term, which eq. 21 gives: 10^5.36 (1.06 + cos^2 5).
    const at = (separation: number) => moonlightNanolambert(geometry(0, separation, 0, 60), 0.172);
    const rayleigh = (deg: number) => 10 ** 5.36 * (1.06 + Math.cos((deg * Math.PI) / 180) ** 2);
    // At 60 degrees f is 344772.0 (computed), which gives the factor between f and light.
    const mie = (at(5) / at(60)) * 344_772.0 - rayleigh(5);
    expect(Math.abs(mie / 2.48e6 - 1)).toBeLessThan(1e-5);
  });

  it("opposition: a third brighter at full, nothing from 7 degrees on; distance: inverse square", () => {
    const at = (phase: number, options = {}) => moonlightNanolambert(geometry(phase, 60, 0, 60), 0.172, options);
    expect(at(0, { opposition: "surge" }) / at(0)).toBeCloseTo(1.35, 10);
    expect(at(3.5, { opposition: "surge" }) / at(3.5)).toBeCloseTo(1.175, 10);
    expect(at(7, { opposition: "surge" })).toBe(at(7));
    expect(at(40, { moonDistanceKm: 60.27 * 6378.137 * 0.93 }) / at(40)).toBeCloseTo(0.93 ** -2, 10);
  });

  it("no light from a Moon that is down, no number for a sky that is", () => {
    expect(moonlightNanolambert(geometry(0, 60, 30, 91), 0.172)).toBe(0);
    expect(moonlightNanolambert(geometry(0, 60, 91, 30), 0.172)).toBeNaN();
  });

  // JPL Horizons (DE431), geocentric, date in January 2010 and phase angle: V magnitude.
  it.each([
    [23, 95.1594, -9.92],
    [7, 84.288, -10.41],
    [9, 108.8054, -9.36],
    [1, 2.8785, -12.82],
  ])("eq. 9 against JPL Horizons, 2010 January %d", (day, phase, mag) => {
    // 0.15 mag, the rows' own tolerance; 0.2 near full without distance, as the Moon was then at perigee.
    expect(Math.abs(moonMagnitude(phase) - mag)).toBeLessThan(phase < 7 ? 0.2 : 0.15);
    const place = placeInSky(
      Date.UTC(2010, 0, day),
      { latitudeDeg: 0, longitudeDeg: 0, heightM: 0 },
      { raDeg: 0, decDeg: 0 },
    );
    expect(Math.abs(place.moonPhaseAngleDeg - phase)).toBeLessThan(0.01);
    expect(Math.abs(moonMagnitude(phase, { moonDistanceKm: place.moonDistanceKm }) - mag)).toBeLessThan(0.15);
  });
});

describe("dark sky and air", () => {
  it.each([
    [1.5, -0.2249],
    [2, -0.3903],
  ])("the layer law at airmass %d, f 0.6, k 0.12 (computed)", (airmass, mag) => {
    expect(Math.abs(layerMag(airmass, 0.12) - mag)).toBeLessThan(1e-4);
  });

  // B = Bzen 10^(-0.4 k (X - 1)) X: Krisciunas & Schaefer 1991 (read second-hand), which is the layer law with f = 1.
  it.each([
    [30, 0.172, 88.532],
    [45, 0.172, 103.043],
    [60, 0.25, 121.637],
  ])("Krisciunas & Schaefer's dark sky of 79.0 nL at zenith distance %d, k %d (computed)", (z, k, nanolambert) => {
    const mag = airmassLawMag(90 - z, { extinctionMagPerAirmass: k, airglowFraction: 1 });
    expect(Math.abs(79 * 10 ** (-0.4 * mag) - nanolambert)).toBeLessThan(0.001);
  });

  it("their law brightens airmass 1.5 by 0.3802 and 2 by 0.6326 mag (computed), far above what was measured", () => {
    expect(Math.abs(layerMag(1.5, 0.12, 1) - -0.3802)).toBeLessThan(1e-4);
    expect(Math.abs(layerMag(2, 0.12, 1) - -0.6326)).toBeLessThan(1e-4);
    // 0.25 mag: Benn & Ellison 1998. The default is nearer to it than the law is.
    expect(Math.abs(layerMag(1.5, 0.12) - -0.25)).toBeLessThan(Math.abs(layerMag(1.5, 0.12, 1) - -0.25) / 4);
  });

  it("the natural zenith assumed lies with the dark skies of observatories", () => {
    // V 21.9 on La Palma at solar minimum, 0.4 brighter at maximum (Benn & Ellison 1998); 21.6 on Paranal at maximum
    // (Patat 2003). 0.2 mag: ecliptic latitude and site.
    expect(Math.abs(naturalZenithMag - 21.9)).toBeLessThan(0.2);
    expect(Math.abs(naturalZenithMag - (21.6 + 0.4))).toBeLessThan(0.2);
  });

  it("Benn & Ellison 1998 (La Palma) measured 0.25 mag at airmass 1.5", () => {
    // 0.05 mag: they give two digits, and the layer's path is a little shorter than the airmass.
    const altitudeDeg = 41.81; // asin(1 / 1.5)
    expect(Math.abs(airmassLawMag(altitudeDeg, { extinctionMagPerAirmass: 0.12 }) - -0.25)).toBeLessThan(0.05);
  });

  it("V extinction by height as the R package moonlit prints it, and between", () => {
    expect([0, 500, 1000, 2000].map(extinctionAtHeight)).toEqual([0.28, 0.24, 0.21, 0.16]);
    expect(extinctionAtHeight(750)).toBeCloseTo(0.225, 12);
    expect([-100, 4000].map(extinctionAtHeight)).toEqual([0.28, 0.16]);
    // V lies between g and r, for which SMTN-002 prints 0.21 and 0.13 at Cerro Pachon (2650 m).
    expect(extinctionAtHeight(2650)).toBeLessThan(0.21);
    expect(extinctionAtHeight(2650)).toBeGreaterThan(0.13);
    // By hand: 0.4 x 0.25 x 2 = 0.2; 10^-0.2 = 0.630957.
    expect(transmission(0.25, 2)).toBeCloseTo(0.630957, 6);
  });

  it.each([
    [-6, 9.331],
    [-9, 6.1327],
    [-12, 3.2115],
    [-15, 1.0259],
    [-18, 0.0344],
  ])("twilight at the zenith with the Sun at %d degrees (the fit's author's coefficients, computed)", (sun, mag) => {
    expect(Math.abs(twilightBrighteningMag(sun) - mag)).toBeLessThan(1e-4);
  });

  it("twilight ends at -18 degrees and says nothing of the day", () => {
    expect(twilightBrighteningMag(-18.001)).toBe(0);
    expect(twilightBrighteningMag(-0.5)).toBeNaN();
    expect(twilightBrighteningMag(Number.NaN)).toBeNaN();
  });

  it("the widely copied chart of Bortle classes (secondary: Bortle 2001 prints no mag/arcsec2)", () => {
    expect([22, 21.9, 21.7, 21, 20, 19, 18.5, 17].map(bortleClassOf)).toEqual([1, 2, 3, 4, 5, 6, 7, 8]);
    expect(zenithRangeOfBortle(5)).toEqual({ fromMag: 19.5, toMag: 20.49 });
    expect(() => bortleClassOf(Number.NaN)).toThrow(/Bortle/);
  });
});

describe("the older table of Bortle classes (an encyclopedia's, read in copies; secondary as well)", () => {
  it.each([
    [1, 21.7, 22],
    [2, 21.5, 21.7],
    [3, 21.3, 21.5],
  ])("class %d from %d to %d differs from the chart by one or two classes", (older, fromMag, toMag) => {
    for (const mag of [fromMag + 0.01, (fromMag + toMag) / 2]) {
      const classes = bortleClassOf(mag) - older;
      expect(classes).toBeGreaterThanOrEqual(1);
      expect(classes).toBeLessThanOrEqual(2);
    }
  });
});

describe("the sky at a target", () => {
  const model = { darkZenithMag: 20.4, extinctionMagPerAirmass: 0.24 };
  const dark: SkyConditions = {
    altitudeDeg: 90,
    sunAltitudeDeg: -40,
    moonAltitudeDeg: -20,
    moonSeparationDeg: 100,
    moonPhaseAngleDeg: 60,
    moonDistanceKm: 384_400,
  };

  it("at the zenith of a moonless night is what the meter reads", () => {
    expect(skyBrightness(dark, model).magArcsec2).toBeCloseTo(20.4, 10);
    expect(skyBrightness({ ...dark, altitudeDeg: -1 }, model).magArcsec2).toBeNaN();
    expect(skyBrightness({ ...dark, sunAltitudeDeg: 5 }, model).magArcsec2).toBeNaN();
  });

  it("twilight brightens a natural sky by the curve, a town's sky by less", () => {
    const sun = { ...dark, sunAltitudeDeg: -12 };
    const natural = skyBrightness(sun, { ...model, darkZenithMag: 22 });
    expect(Math.abs(22 - natural.magArcsec2 - 3.2115)).toBeLessThan(1e-3);
    const town = 20.4 - skyBrightness(sun, model).magArcsec2;
    // By hand: 22.0 is 54.008 nL, times 10^(0.4 x 3.2115) - 1 = 18.26; 20.4 is 235.75 nL: 2.5 log(1 + 986.1 / 235.75).
    expect(Math.abs(town - 1.786)).toBeLessThan(0.003);
  });

  it("one's own frames give the constants back, in spite of Moon, dusk and one bad frame", () => {
    const skies = Array.from({ length: 30 }, (_, i) => ({
      ...dark,
      altitudeDeg: 35 + 1.5 * i,
      sunAltitudeDeg: -13 - i,
      moonAltitudeDeg: 2 * i - 30,
      moonSeparationDeg: 60 + i,
    }));
    // The truth is the model's own, so this checks the inversion, not the model.
    const frames = skies.map((sky, i) => ({
      sky,
      magArcsec2: skyBrightness(sky, model).magArcsec2 - (i === 20 ? 1 : 0),
      rate: 10 ** (0.4 * (24.7 - skyBrightness(sky, model).magArcsec2)) * (i === 20 ? 2.5 : 1),
    }));
    const zenith = calibrateDarkZenith(frames, { extinctionMagPerAirmass: 0.24 });
    expect(zenith.mag).toBeCloseTo(20.4, 6);
    expect(zenith.frames).toBeGreaterThan(15);
    expect(zenith.frames).toBeLessThan(30);
    expect(calibrateSkyConstant(frames, model).mag).toBeCloseTo(24.7, 10);
    expect(calibrateSkyConstant([{ sky: dark, rate: 0 }], model)).toMatchObject({ mag: Number.NaN, frames: 0 });
  });
});
