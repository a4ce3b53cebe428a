// Profiles of stars and what is measured of them, against closed forms and reference libraries. "Computed": worked out
// apart from this code in Python (numpy 1.24, scipy 1.10, astropy 5.2, photutils 1.6, sep 1.2) from the formula that is
// named; nothing that is only remembered of a book is asserted. Not here, as the code has no such quantity: flux-weighted
// mean radius, Moffat noise area, seeing by wavelength, diffraction limits, focus zones.
import { describe, expect, it } from "vitest";
import { expectationsOf } from "../../src/grade/expectations.js";
import { groupsOf } from "../../src/grade/groups.js";
import { eccentricityOf, elongationVector } from "../../src/measure/elongation.js";
import { frameBuffers } from "../../src/measure/frame-buffers.js";
import { type Growth, growthCurve } from "../../src/measure/growth-curve.js";
import { fitMoffat, moffatEnclosed, moffatFwhm } from "../../src/measure/moffat-fit.js";
import { adaptiveMoments, type Moments } from "../../src/measure/moments.js";
import { cutStamp, type Stamp } from "../../src/measure/stamp.js";
import { axesOf, directionDeg } from "../../src/measure/star.js";
import { momentsOf, shapeOf } from "../../src/plan/star-shape.js";
import { exposureFacts } from "../../src/read/exposure-facts.js";
import { memoryBytes } from "../../src/read/file-bytes.js";
import { firstImage } from "../../src/read/hdu.js";
import { fromRows } from "../../src/terms/frame-table.js";

const near = (value: number, expected: number, relative: number) =>
  expect(Math.abs(value / expected - 1), `${value} for ${expected}`).toBeLessThan(relative);

/** A Moffat profile this steep is a Gaussian to six digits. */
const gaussian = 1e7;
const perSigma = 2.354820045031;

/** An image whose pixels are means of 11 x 11 points, as a stamp around a pixel. */
function stampOf(side: number, middleX: number, middleY: number, value: (x: number, y: number) => number): Stamp {
  const values = new Float32Array(side * side);
  for (let y = 0; y < side; y++)
    for (let x = 0; x < side; x++) {
      let sum = 0;
      for (let j = -5; j <= 5; j++) for (let i = -5; i <= 5; i++) sum += value(x + i / 11, y + j / 11);
      values[y * side + x] = sum / 121;
    }
  const { stamp } = frameBuffers(side, side, "float32", true);
  const source = { width: side, height: side, values, mosaic: null };
  cutStamp(source, middleX, middleY, Math.min(64, (side - 1) >> 1), 0, stamp);
  return stamp;
}
const gaussianAt =
  (x0: number, y0: number, long: number, short: number, angleDeg: number, peak: number) => (x: number, y: number) => {
    const [c, s] = [Math.cos((angleDeg * Math.PI) / 180), Math.sin((angleDeg * Math.PI) / 180)];
    const along = ((x - x0) * c + (y - y0) * s) / long;
    const across = ((y - y0) * c - (x - x0) * s) / short;
    return peak * Math.exp(-0.5 * (along * along + across * across));
  };
function growthOf(stamp: Stamp, x: number, y: number, outer: number, fraction: number): Growth {
  const growth = { hfr: Number.NaN, flux: Number.NaN };
  expect(growthCurve(stamp, x, y, outer, fraction, growth)).toBe(true);
  return growth;
}

describe("profiles in closed form", () => {
  it("FWHM of a Gaussian is 2 sqrt(2 ln 2) = 2.354820 sigma (computed)", () => {
    near(momentsOf(perSigma, 0, 0).xx, 1, 1e-9);
    near(shapeOf({ xx: 9, xy: 0, yy: 9 }).fwhmPx, 3 * perSigma, 1e-9);
  });

  it.each([
    [2, 1.287189],
    [2.5, 1.130501],
    [3, 1.019649],
    [4, 0.869959],
    [4.765, 0.791401],
  ])(
    "FWHM of a Moffat profile of beta %d is %d alpha: 2 sqrt(2^(1/beta) - 1) (Moffat 1969; computed)",
    (beta, fwhm) => {
      near(moffatFwhm(beta), fwhm, 1e-6);
    },
  );

  it("FWHM of a Moffat profile of gamma 3, alpha 2.5 is 3.3915018484 (astropy Moffat2D)", () =>
    near(3 * moffatFwhm(2.5), 3.3915018484, 1e-10));

  it.each([
    [0.5, 0.5],
    [0.67, 0.711948],
    [1, 0.9375],
    [1.5, 0.998047],
  ])("a Gaussian holds within %d FWHM the share %d of its light: 1 - 2^(-4 r^2) (computed)", (radius, share) => {
    near(moffatEnclosed(radius, gaussian), share, 1e-6);
  });

  it.each([
    [2, 0.776887],
    [2.5, 0.677948],
    [3, 0.631192],
    [4, 0.586033],
    [4.765, 0.568106],
  ])("half of the light of a Moffat profile of beta %d lies within %d FWHM (computed)", (beta, radius) => {
    near(moffatEnclosed(radius, beta), 0.5, 2e-6);
  });

  it("an aperture shows a Gaussian best at 0.673173 FWHM, with 0.715332 of the light, where the sky rules (computed)", () => {
    // Signal to noise is enclosed light over radius; 0.67 FWHM is what an exposure-time calculator's note gives.
    let [best, most] = [0, 0];
    for (let radius = 0.5; radius < 1; radius += 1e-5) {
      const snr = moffatEnclosed(radius, gaussian) / radius;
      if (snr > most) [best, most] = [radius, snr];
    }
    near(best, 0.673173, 1e-3);
    near(moffatEnclosed(best, gaussian), 0.715332, 1e-3);
  });
});

describe("eccentricity sqrt(1 - (b/a)^2) (computed)", () => {
  it.each([
    [0.95, 0.31225],
    [0.9, 0.43589],
    [0.8, 0.6],
    [0.6, 0.8],
    [0.5, 0.866025],
  ])("axes of ratio %d: %d", (ratio, eccentricity) => {
    const { cosine, sine } = elongationVector(5, 5 * ratio, 0.4);
    near(eccentricityOf(Math.hypot(cosine, sine)), eccentricity, 2e-6);
    near(shapeOf({ xx: 1, xy: 0, yy: ratio * ratio }).eccentricity, eccentricity, 2e-6);
  });

  it.each([
    [0.3, 0.953939],
    [0.4, 0.916515],
    [0.42, 0.907524],
    [0.5, 0.866025],
    [0.6, 0.8],
  ])("and back: %d has axes of ratio %d", (eccentricity, ratio) => {
    const { xx, yy } = momentsOf(3, eccentricity, 0);
    near(Math.sqrt(yy / xx), ratio, 2e-6);
  });

  // The law holds for plain moments (plan.test.ts). Adaptive moments are those of a matched Gaussian, so pixels are asked
  // for a short trail only; one of 4 px is a flat-topped star, of which they say 0.516 for 0.5.
  it("a Gaussian of sigma 2 trailed by 2 px has 0.277350 as recorded: variance L^2 / 12 (computed)", () => {
    // Drawn as a sum along the trail; the pixel adds 1/12 to both axes.
    const [trail, steps] = [2, 41];
    const stamp = stampOf(49, 24, 24, (x, y) => {
      let sum = 0;
      for (let i = 0; i < steps; i++) {
        const [dx, dy] = [x - 24 - trail * ((i + 0.5) / steps - 0.5), y - 24];
        sum += Math.exp(-(dx * dx + dy * dy) / 8);
      }
      return sum;
    });
    const moments: Moments = { x: 0, y: 0, xx: 0, xy: 0, yy: 0, flux: 0 };
    expect(adaptiveMoments(stamp, 0, 0, { xx: 4, xy: 0, yy: 4 }, 2, 1e-5, moments)).toBe(true);
    const { xx, xy, yy } = moments;
    near(shapeOf({ xx: xx - 1 / 12, xy, yy: yy - 1 / 12 }).eccentricity, 0.27735, 0.02);
  });
});

/** Half-flux radii are asked to be right to 3 %; for noiseless Gaussians of any size to this. */
const hfrWithin = 5e-3;

describe("an image of 41 x 41 px: Gaussian at 20.3, 19.6, sigma 3 and 2 px, 30 degrees, peak 1000", () => {
  const stamp = stampOf(41, 20, 20, gaussianAt(20.3, 19.6, 3, 2, 30, 1000));
  const moments: Moments = { x: 0, y: 0, xx: 0, xy: 0, yy: 0, flux: 0 };
  expect(adaptiveMoments(stamp, 0, 0, { xx: 5, xy: 0, yy: 5 }, 2, 1e-6, moments)).toBe(true);

  it("adaptive moments: sigma 3.013857 and 2.020726 with the pixel's 1/12 (computed; photutils 3.013686, 2.020471)", () => {
    const { major, minor, angle } = axesOf(moments.xx, moments.xy, moments.yy);
    near(major, 3.013857, 1e-3);
    near(minor, 2.020726, 1e-3);
    expect(Math.abs(directionDeg(angle) - 30)).toBeLessThan(0.05);
    expect(Math.abs(moments.x - 0.3)).toBeLessThan(1e-3);
    expect(Math.abs(moments.y + 0.4)).toBeLessThan(1e-3);
    const { cosine, sine } = elongationVector(major, minor, angle);
    // photutils data_properties: eccentricity 0.741971.
    near(eccentricityOf(Math.hypot(cosine, sine)), 0.741971, 1e-3);
  });

  it("light 37699.1 (photutils data_properties; 2 pi x 3 x 2 x 1000), by moments and by growth curve", () => {
    near(moments.flux, 37699.1118, 1e-3);
    near(growthOf(stamp, 0.3, -0.4, 18, 1).flux, 37699.1118, 1e-3);
  });

  it("half-flux radius: sep's flux_radius 2.96539 less what spreading the pixels once more adds", () => {
    // sep lays apertures over square pixels, so the pixel counts twice: 1/12 more in the mean variance of both axes.
    const once = Math.sqrt((3.013857 ** 2 + 2.020726 ** 2) / (3.013857 ** 2 + 2.020726 ** 2 + 2 / 12));
    near(growthOf(stamp, 0.3, -0.4, 18, 1).hfr, 2.96539 * once, hfrWithin);
  });

  it("half-flux radius of a round one of sigma 2: sep 2.40185, likewise", () => {
    const round = stampOf(41, 20, 20, gaussianAt(20.3, 19.6, 2, 2, 0, 1000));
    const once = Math.sqrt((4 + 1 / 12) / (4 + 2 / 12));
    near(growthOf(round, 0.3, -0.4, 18, 1).hfr, 2.40185 * once, hfrWithin);
  });
});

describe("half-flux radius from growth curves", () => {
  // Wide stars, so that the pixel is of no weight.
  const fwhm = 12;
  it("of a Gaussian: 0.5 FWHM, 1.177410 sigma (computed); the flux-weighted mean radius would be 0.532234 FWHM", () => {
    const sigma = fwhm / perSigma;
    const { hfr } = growthOf(stampOf(97, 48, 48, gaussianAt(48.2, 47.9, sigma, sigma, 0, 1)), 0.2, -0.1, 40, 1);
    near(hfr / fwhm, 0.5, hfrWithin);
    near(hfr / sigma, 1.177410022515, hfrWithin);
  });

  it.each([
    [2.5, 0.677948],
    [3, 0.631192],
    [4, 0.586033],
    [4.765, 0.568106],
  ])("of a Moffat profile of beta %d: %d FWHM, wings beyond the aperture counted (computed)", (beta, expected) => {
    const alpha = fwhm / (2 * Math.sqrt(2 ** (1 / beta) - 1));
    const stamp = stampOf(129, 64, 64, (x, y) => (1 + ((x - 64.2) ** 2 + (y - 63.9) ** 2) / alpha ** 2) ** -beta);
    const { hfr, flux } = growthOf(stamp, 0.2, -0.1, 60, moffatEnclosed(60 / fwhm, beta));
    near(hfr / fwhm, expected, hfrWithin);
    // All light is pi alpha^2 / (beta - 1); the aperture's share is the closed form's.
    near(flux / ((Math.PI * alpha ** 2) / (beta - 1)), 1 - (1 + (60 / alpha) ** 2) ** (1 - beta), 2e-3);
  });

  it.each([2.5, 3, 4.765])("fits give beta %d and the width before the pixel blurred it back", (beta) => {
    const width = 4;
    const alpha = width / (2 * Math.sqrt(2 ** (1 / beta) - 1));
    const stamp = stampOf(41, 20, 20, (x, y) => 1000 * (1 + ((x - 20.2) ** 2 + (y - 19.9) ** 2) / alpha ** 2) ** -beta);
    const guess = { x: 0, y: 0, xx: 4, xy: 0, yy: 4, flux: 20_000 };
    const fit = fitMoffat(stamp, guess, { radius: 12, skyVariance: 1, perValue: 0, beta: Number.NaN })!;
    near(Math.sqrt(fit.fwhmMajor * fit.fwhmMinor), width, 3e-3);
    near(fit.beta, beta, 0.02);
  });
});

describe("seeing and scale", () => {
  it.each([
    [1.2, 1.1156],
    [1.5, 1.27542],
    [2, 1.51572],
    [3, 1.93318],
  ])(
    "at airmass %d stars are %d times as wide: X^0.6 (exponent: SMTN-002, FWHM_sys(X); computed)",
    (airmass, wider) => {
      const row = { kind: "light" as const, target: "T", filter: "L", exposureS: 60, fwhmPx: 3 };
      const table = fromRows([1, airmass].map((X, i) => ({ ...row, file: `${i}.fits`, airmass: X })));
      const { seeing } = expectationsOf(table, groupsOf(table)[0]!);
      near(seeing[1]! / seeing[0]!, wider, 1e-5);
    },
  );

  it.each([
    [3.76, 530, 1.46331],
    [9, 2000, 0.92819],
  ])("pixels of %d um at %d mm see %d arcsec: 206.264806 p / f (computed)", (pixelSizeUm, focalLengthMm, scale) => {
    near(scaleOf(pixelSizeUm, focalLengthMm), scale, 1e-5);
  });
});

function scaleOf(pixelSizeUm: number, focalLengthMm: number): number {
  const card = (text: string) => text.padEnd(80);
  const header = [
    "SIMPLE  =                    T",
    "BITPIX  =                    8",
    "NAXIS   =                    2",
    "NAXIS1  =                    2",
    "NAXIS2  =                    2",
    `XPIXSZ  = ${String(pixelSizeUm).padStart(20)}`,
    `FOCALLEN= ${String(focalLengthMm).padStart(20)}`,
    "END",
  ]
    .map(card)
    .join("")
    .padEnd(2880);
  const bytes = new TextEncoder().encode(header + "\0".repeat(2880));
  return exposureFacts(firstImage(memoryBytes("scale.fits", bytes)).headers).pixelScaleArcsec?.value ?? Number.NaN;
}
