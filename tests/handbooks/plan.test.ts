// The CCD equation and sub length. Sources are named beside the checks. "Computed": worked out apart from this code, in
// Python, from the formula that is printed with it.
import { describe, expect, it } from "vitest";
import { cardSpace } from "../../src/plan/card-space.js";
import {
  ccdSnr,
  effectiveTimeFactor,
  effectiveTimeS,
  exposureForSnr,
  limitingMagnitude,
  magnitudeError,
  noisePixels,
  readNoiseTimeS,
  subsNeeded,
} from "../../src/plan/ccd-equation.js";
import { darkByDoubling, darkOfSilicon } from "../../src/plan/dark-current.js";
import { meanMoments, momentsOf, shapeOf } from "../../src/plan/star-shape.js";
import {
  bestSubS,
  clockEfficiency,
  noiseFactor,
  stackingLoss,
  subForExcess,
} from "../../src/plan/sub-length-theory.js";

const near = (value: number, expected: number, relative: number) =>
  expect(Math.abs(value / expected - 1), `${value} for ${expected}`).toBeLessThan(relative);

/**
 * M. Bershady, Astro 293, University of Wisconsin, examples a and b: telescope of area 0.2922 m2, aperture of 5" radius,
 * 0.57"/px, read noise 15 e-. Photons/m2/s of magnitude 0, sky in mag/arcsec2, efficiency.
 */
const bands = {
  U: [4.1e9, 20.8, 0.07],
  B: [1.42e10, 21.5, 0.14],
  V: [8.79e9, 20.3, 0.28],
  R: [1.07e10, 19.5, 0.35],
  I: [7.32e9, 18.4, 0.175],
} as const;

describe("exposure times of five bands (Bershady, printed with three digits)", () => {
  const ratesOf = ([photons, sky, efficiency]: readonly [number, number, number], mag: number) => ({
    signalEPerS: photons * 0.2922 * efficiency * 10 ** (-0.4 * mag),
    pixels: 241.735,
    backgroundEPerS: (photons * 0.2922 * efficiency * 10 ** (-0.4 * sky) * 78.54) / 241.735,
    readNoiseE: 15,
  });
  it.each([
    ["U", 20, 10, 1680, 5910],
    ["B", 20, 10, 453, 620],
    ["V", 20, 10, 125, 952],
    ["R", 20, 10, 39.6, 1190],
    ["I", 20, 10, 42.3, 9230],
    ["U", 15, 100, 471, 372],
    ["B", 15, 100, 78.5, 51.9],
    ["V", 15, 100, 47.4, 45.3],
    ["R", 15, 100, 22.1, 33.9],
    ["I", 15, 100, 32.8, 145],
  ] as const)(
    "%s, magnitude %d, signal over noise %d: %d s to beat read noise, %d s in all",
    (band, mag, snr, readS, allS) => {
      const rates = ratesOf(bands[band], mag);
      near(readNoiseTimeS(rates), readS, 0.005);
      near(exposureForSnr(snr, rates), allS, 0.005);
    },
  );

  it("the equation solved for the time gives the ratio back", () => {
    const rates = ratesOf(bands.V, 20);
    const t = exposureForSnr(10, rates);
    const snr = ccdSnr({
      signalE: rates.signalEPerS * t,
      pixels: rates.pixels,
      skyE: rates.backgroundEPerS * t,
      darkE: 0,
      readNoiseE: 15,
    });
    expect(snr).toBeCloseTo(10, 10);
  });
});

describe("limiting magnitudes of the LSST in six bands (Jones, SMTN-002; counts read in lsst/pipe_tasks, test_computeExposureSummaryStats.py)", () => {
  // Zero point for 1 s, sky e-/s/px, sigma of the star image in px, printed limit at 5 sigma in 30 s.
  it.each([
    ["u", 26.52, 1.51, 1.72, 23.7],
    ["g", 28.51, 15.45, 1.63, 24.97],
    ["r", 28.36, 32.95, 1.56, 24.52],
    ["i", 28.17, 52.94, 1.51, 24.13],
    ["z", 27.78, 79.4, 1.47, 23.56],
    ["y", 26.82, 90.57, 1.44, 22.55],
  ] as const)("%s: %d", (_, zeroPointMag, sky, sigmaPx, limit) => {
    // SMTN-002: FWHM_eff = (FWHM_geom - 0.052") / 0.822 is what the noise area is made of; pixels of 0.2".
    const fwhmPx = (2.355 * sigmaPx * 0.2 - 0.052) / 0.822 / 0.2;
    const mag = limitingMagnitude({
      zeroPointMag,
      backgroundEPerS: sky,
      readNoiseE: 9,
      subS: 30,
      subs: 1,
      fwhmPx,
      snr: 5,
    });
    expect(Math.abs(mag - limit)).toBeLessThan(0.01);
  });

  it("from the sky's brightness (SMTN-002, 0.02 mag)", () => {
    const rows = [
      [26.52, 0.92, 23.05, 0.47, 23.7],
      [28.51, 0.87, 22.25, 0.21, 24.97],
      [28.36, 0.83, 21.2, 0.13, 24.52],
      [28.17, 0.8, 20.46, 0.1, 24.13],
      [27.78, 0.78, 19.61, 0.07, 23.56],
      [26.82, 0.76, 18.6, 0.17, 22.55],
    ] as const;
    for (const [zeroPointMag, fwhm, sky, extinction, limit] of rows) {
      const backgroundEPerS = 10 ** (-0.4 * (sky - zeroPointMag - extinction)) * 0.04;
      const mag = limitingMagnitude({
        zeroPointMag,
        backgroundEPerS,
        readNoiseE: Math.sqrt(8.8 ** 2 + 0.2 * 30),
        subS: 30,
        subs: 1,
        fwhmPx: fwhm / 0.2,
        snr: 5,
      });
      expect(Math.abs(mag - limit), String(limit)).toBeLessThan(0.02);
    }
  });

  it("electrons of the star at the limit, 5 sigma in 30 s (counts read in lsst/pipe_tasks)", () => {
    const rows = [
      [1.51, 1.72, 402.77],
      [15.45, 1.63, 777.22],
      [32.95, 1.56, 1034.83],
      [52.94, 1.51, 1245.6],
      [79.4, 1.47, 1467.55],
      [90.57, 1.44, 1529.15],
    ] as const;
    for (const [sky, sigmaPx, electrons] of rows) {
      const fwhmPx = (2.355 * sigmaPx * 0.2 - 0.052) / 0.822 / 0.2;
      const limit = { zeroPointMag: 0, backgroundEPerS: sky, readNoiseE: 9, subS: 30, subs: 1, fwhmPx, snr: 5 };
      // With zero point 0 the limit is -2.5 log10 of the star's e-/s.
      near(30 * 10 ** (-0.4 * limitingMagnitude(limit)), electrons, 1e-4);
    }
  });

  it("the constants C_m of SMTN-002: limit - 0.5 (sky - 21) - 2.5 log(0.7 / FWHM), 0.01 mag", () => {
    const rows = [
      [26.52, 0.92, 23.05, 0.47, 22.97],
      [28.51, 0.87, 22.25, 0.21, 24.58],
      [28.36, 0.83, 21.2, 0.13, 24.6],
      [28.17, 0.8, 20.46, 0.1, 24.54],
      [27.78, 0.78, 19.61, 0.07, 24.37],
      [26.82, 0.76, 18.6, 0.17, 23.84],
    ] as const;
    for (const [zeroPointMag, fwhm, sky, extinction, constant] of rows) {
      const mag = limitingMagnitude({
        zeroPointMag,
        backgroundEPerS: 10 ** (-0.4 * (sky - zeroPointMag - extinction)) * 0.04,
        readNoiseE: Math.sqrt(8.8 ** 2 + 0.2 * 30),
        subS: 30,
        subs: 1,
        fwhmPx: fwhm / 0.2,
        snr: 5,
      });
      expect(Math.abs(mag - 0.5 * (sky - 21) - 2.5 * Math.log10(0.7 / fwhm) - constant), String(constant)).toBeLessThan(
        0.01,
      );
    }
  });

  it("scaling as SMTN-002 prints it: 0.5 per magnitude of sky, 1.25 log t, 2.5 log FWHM (computed; background-limited)", () => {
    const at = (change: object) =>
      limitingMagnitude({
        zeroPointMag: 28,
        backgroundEPerS: 400,
        readNoiseE: 0,
        subS: 100,
        subs: 100,
        fwhmPx: 4,
        snr: 5,
        ...change,
      });
    expect(at({ backgroundEPerS: 400 * 10 ** 0.4 }) - at({})).toBeCloseTo(-0.5, 2);
    expect(at({ subs: 400 }) - at({})).toBeCloseTo(1.25 * Math.log10(4), 2);
    expect(at({ fwhmPx: 8 }) - at({})).toBeCloseTo(-2.5 * Math.log10(2), 2);
  });

  it("0.375 mag less is half the time (lsst/pipe_tasks)", () => near(effectiveTimeS(100, 24.125, 24.5), 50, 0.01));
});

describe("signal over noise (Merline & Howell 1995; computed)", () => {
  it.each([
    [{ signalE: 1000, pixels: 25, skyE: 50, darkE: 2, readNoiseE: 5 }, 18.490007],
    [
      { signalE: 1000, pixels: 25, skyE: 50, darkE: 2, readNoiseE: 5, backgroundPixels: 400, electronsPerAdu: 1 },
      18.114483,
    ],
    [
      { signalE: 50_000, pixels: 50, skyE: 200, darkE: 5, readNoiseE: 8, backgroundPixels: 1000, electronsPerAdu: 2 },
      197.426476,
    ],
    [{ signalE: 100, pixels: 9, skyE: 10, darkE: 0, readNoiseE: 10 }, 3.028913],
    [{ signalE: 100, pixels: 9, skyE: 1000, darkE: 0, readNoiseE: 1.5 }, 1.04712],
  ])("%o", (aperture, snr) => near(ccdSnr(aperture), snr, 1e-6));

  it("an error of 1 in 197.426476 is 0.005499 mag", () => near(magnitudeError(197.426476), 0.005499, 1e-4));
  it("noise area of a Gaussian: 4 pi sigma^2 = 2.266 FWHM^2 (SMTN-002)", () =>
    near(noisePixels(2.354820045), 4 * Math.PI, 1e-3));
  it.each([
    [1.2, 1, 1, 0.5625],
    [0.9, 0.8, 1, 0.64],
    [0.9, 1, 2, 0.5],
    [1.3, 0.7, 3, 0.078284],
  ])(
    "effective time of the DES at %d arcsec, transparency %d, sky %d (Neilsen et al. 2016: factors; computed)",
    (fwhm, eta, sky, factor) => {
      near(effectiveTimeFactor(eta, fwhm / 0.9, sky), factor, 1e-4);
    },
  );
});

describe("subs needed (CCD equation per pixel; computed)", () => {
  it.each([
    [0.02, 0.51, 2, 120, 10, 1173.61, 39.13],
    [0.1, 2.02, 1.5, 60, 20, 1438.33, 23.98],
    [0.005, 0.101, 1.2, 300, 5, 369.33, 30.83],
  ])(
    "signal %d, background %d, read noise %d, %d s, ratio %d: %d subs, %d h of whole subs",
    (signalEPerS, backgroundEPerS, readNoiseE, subS, snr, subs, hours) => {
      const needed = subsNeeded(snr, subS, { signalEPerS, pixels: 1, backgroundEPerS, readNoiseE });
      near(needed, subs, 1e-5);
      expect(Math.abs((Math.ceil(needed) * subS) / 3600 - hours)).toBeLessThan(0.006);
    },
  );
});

describe("sub length", () => {
  it.each([
    [1, Math.SQRT2],
    [3, 1.154701],
    [5, 1.095445],
    [10, 1.048809],
    [20, 1.024695],
    [50, 1.00995],
  ])("subs of %d times R^2/F are noisier by %d (algebra)", (n, factor) => {
    near(noiseFactor(n, 1), factor, 1e-6);
    // Time lost to read noise: 1/N more for the same signal over noise.
    near(noiseFactor(n, 1) ** 2 - 1, 1 / n, 1e-9);
  });

  it.each([
    [0.01, 49.7512],
    [0.02, 24.7525],
    [0.05, 9.7561],
    [0.1, 4.7619],
  ])("an excess of %d asks for %d R^2/F (algebra)", (excess, n) => near(subForExcess(excess, 1), n, 1e-5));

  it.each([
    [1.5, 0.5, 43.9024],
    [3.5, 0.5, 239.0244],
    [8, 2, 312.1951],
    [3, 0.1, 878.0488],
  ])("read noise %d e-, background %d e-/s: 5 %% at %d s (computed)", (r, f, s) =>
    near(subForExcess(0.05, r ** 2 / f), s, 1e-6),
  );

  it("with losses there is a best length: 163.5 s (computed from the condition by bisection)", () => {
    const terms = { readTimeS: 4 / 0.53, overheadS: 8, lossPerS: 1 / 1800 };
    near(bestSubS(terms), 163.5, 0.0005);
    // It is the top of the curve, which is worked out without the condition.
    for (const other of [120, 150, 160, 167, 180, 240])
      expect(clockEfficiency(other, terms)).toBeLessThan(clockEfficiency(bestSubS(terms), terms));
    // The rule of thumb sqrt((o + tau) / lambda) gives 167.3.
    near(Math.sqrt((8 + 4 / 0.53) * 1800), 167.3, 0.001);
  });

  it("without losses there is none", () =>
    expect(bestSubS({ readTimeS: 5, overheadS: 5, lossPerS: 0 })).toBe(Number.POSITIVE_INFINITY));

  it("n subs against one exposure: sqrt((F T + R^2) / (F T + n R^2)) from the variances of both", () => {
    // F 2 e-/s, T 600 s, n 60, R 3: variances 1200 + 9 and 1200 + 540.
    near(stackingLoss(600, 60, 4.5), Math.sqrt(1209 / 1740), 1e-12);
  });

  it("dark current over 20 degrees by doubling every 6.0, 6.3, 7.0 (computed)", () => {
    near(darkByDoubling(1, 0, 20, 6), 10.0794, 1e-5);
    near(darkByDoubling(1, 0, 20), 9.0292, 1e-5);
    near(darkByDoubling(1, 0, 20, 7), 7.2458, 1e-5);
  });

  it.each([
    [20, 8.836],
    [0, 7.691],
    [-10, 7.147],
    [-20, 6.622],
  ])(
    "silicon doubles at %d C within %d degrees (computed; the form itself is from memory)",
    (temperature, interval) => {
      // The interval upward in which the rate doubles.
      near(darkOfSilicon(1, temperature, temperature + interval), 2, 0.0005);
    },
  );
});

describe("shapes of stars by moments (computed)", () => {
  it.each([
    [4, 2.309401, 0.5],
    [2, Math.sqrt(4 + 4 / 12), 0.27735],
  ])("a Gaussian of sigma 2 trailed by %d px: variance L^2 / 12 along the trail", (trail, sigmaLong, eccentricity) => {
    const shape = shapeOf({ xx: 4, xy: 0, yy: 4 + trail ** 2 / 12 });
    near(shape.eccentricity, eccentricity, 1e-5);
    expect(shape.elongationAngleDeg).toBeCloseTo(90, 9);
    // FWHM of a Gaussian is 2.354820045 sigma; a frame's width is measured as that of a circle of the same area, a * b.
    near(shape.fwhmPx, 2.354820045 * Math.sqrt(sigmaLong * 2), 1e-6);
  });

  it("shape to moments and back, at any angle; the mean of a round and a long star lies between", () => {
    for (const angle of [0, 30, 90, 135, 179]) {
      const back = shapeOf(momentsOf(3, 0.7, angle));
      near(back.fwhmPx, 3, 1e-9);
      near(back.eccentricity, 0.7, 1e-9);
      expect(Math.abs(back.elongationAngleDeg - angle)).toBeLessThan(1e-6);
    }
    const mixed = shapeOf(meanMoments([momentsOf(3, 0, 0), momentsOf(3, 0.8, 45)], [3, 1]));
    expect(mixed.eccentricity).toBeGreaterThan(0.2);
    expect(mixed.eccentricity).toBeLessThan(0.8);
    expect(mixed.elongationAngleDeg).toBeCloseTo(45, 9);
  });
});

describe("card space", () => {
  it("from 10 s to 15 s saves a third of the files (common practice; arithmetic without overhead)", () => {
    const at = (subS: number) => cardSpace({ width: 1920, height: 1080, subS, overheadS: 0, hoursPerNight: 6 });
    near(at(15).subsPerNight / at(10).subsPerNight, 2 / 3, 1e-3);
    expect(at(10).subsPerNight).toBe(2160);
  });

  it("1920 x 1080 in 16 bits: 4147200 bytes of pixels are 1440 blocks of 2880, and two of header", () => {
    const space = cardSpace({ width: 1920, height: 1080, subS: 10, overheadS: 2, hoursPerNight: 6, freeBytes: 32e9 });
    expect(space.bytesPerSub).toBe(1442 * 2880);
    expect(space.subsPerNight).toBe(1800);
    // 32e9 / 4152960 = 7705.3 files; at 12 s each 25.68 h.
    near(space.hoursToFull, 25.683, 1e-3);
    expect(space.nightsThatFit).toBe(4);
  });
});
