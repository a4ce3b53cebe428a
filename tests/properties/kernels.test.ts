// The WebAssembly kernels against their plain TypeScript twins, which are the reference: what is counted or summed in whole
// numbers must be equal, what is weighed in single precision must agree far below the noise of any star.
import { describe, expect, it } from "vitest";
import { measureBackground } from "../../src/measure/background.js";
import { Ballot } from "../../src/measure/ballot.js";
import { findPeaks } from "../../src/measure/find-peaks.js";
import { measureFluxes } from "../../src/measure/fluxes.js";
import { foreignLight } from "../../src/measure/foreign-light.js";
import { type FrameBuffers, frameBuffers } from "../../src/measure/frame-buffers.js";
import { growthCurve } from "../../src/measure/growth-curve.js";
import { halfMaximumFactor } from "../../src/measure/half-maximum.js";
import { Levels } from "../../src/measure/levels.js";
import { loadFrame } from "../../src/measure/load-frame.js";
import { measureFrame } from "../../src/measure/measure-frame.js";
import { fillHistogram } from "../../src/measure/mesh-histogram.js";
import { adaptiveMoments } from "../../src/measure/moments.js";
import { measureMosaic } from "../../src/measure/mosaic.js";
import { hasKernels } from "../../src/measure/simd/kernels.js";
import { skyBins } from "../../src/measure/sky-histogram.js";
import { cutStamp } from "../../src/measure/stamp.js";
import type { Star } from "../../src/measure/star.js";
import { streakPoints } from "../../src/measure/streak-points.js";
import { memoryBytes } from "../../src/read/file-bytes.js";
import { firstImage, openPixels } from "../../src/read/hdu.js";
import type { PixelArray, PixelReader } from "../../src/read/pixels.js";
import { normals, uniforms } from "../recovery/star-frames.js";

/** Sky, noise and stars with a few hot pixels; float frames have some pixels without a value. */
function frame(width: number, height: number, type: "uint16" | "float32", seed: number): PixelReader {
  const uniform = uniforms(seed);
  const normal = normals(uniform);
  const values = new Float64Array(width * height);
  for (let y = 0; y < height; y++) for (let x = 0; x < width; x++) values[y * width + x] = 900 + 0.2 * x;
  for (let star = 0; star < (width * height) / 2500; star++) {
    const x = uniform() * width;
    const y = uniform() * height;
    const peak = Math.min(70_000, 100 * uniform() ** -1.2);
    for (let py = Math.max(0, Math.floor(y) - 15); py < Math.min(height, y + 16); py++)
      for (let px = Math.max(0, Math.floor(x) - 15); px < Math.min(width, x + 16); px++)
        values[py * width + px]! += peak * (1 + ((px - x) ** 2 * 0.9 + (py - y) ** 2 * 1.1) / 9) ** -2.8;
  }
  const noisy = values.map((v) => Math.min(65_535, Math.max(0, v + Math.sqrt(v) * normal())));
  for (let hot = 0; hot < 20; hot++) noisy[Math.floor(uniform() * noisy.length)] = 20_000;
  const pixels = type === "uint16" ? Uint16Array.from(noisy, Math.round) : Float32Array.from(noisy, (v) => v / 65_535);
  if (type === "float32") pixels.fill(Number.NaN, 40 * width, 40 * width + 7);
  return {
    width,
    height,
    planes: 1,
    type,
    readRows(firstRow: number, rows: number, into: PixelArray) {
      (into as Float32Array).set(pixels.subarray(firstRow * width, (firstRow + rows) * width));
    },
  };
}

const shapes = [
  [640, 432],
  [301, 257],
  [330, 199],
] as const;

describe.each(["uint16", "float32"] as const)("kernels and plain TypeScript on %s frames", (type) => {
  it("this machine has the kernels, so the two can differ", () => expect(hasKernels()).toBe(true));

  it.each(shapes)("give the same sums, sky and peaks, %i x %i", (width, height) => {
    const reader = frame(width, height, type, width);
    const fast = loadFrame(reader, 0, frameBuffers(width, height, type));
    const plain = loadFrame(reader, 0, frameBuffers(width, height, type, true));
    expect(fast.workspace.kernels).not.toBeNull();
    expect(plain.workspace.kernels).toBeNull();
    expect(fast.sums.values).toEqual(plain.sums.values);
    const sky = measureBackground(fast, type === "uint16");
    expect(sky).toEqual(measureBackground(plain, type === "uint16"));
    const found = findPeaks(fast.sums, sky, 1, 5, fast.workspace);
    expect(found).toBe(findPeaks(plain.sums, sky, 1, 5, plain.workspace));
    expect(found).toBeGreaterThan(20);
    expect(fast.peaks.subarray(0, found)).toEqual(plain.peaks.subarray(0, found));
  });

  it.each(shapes)("measure the same stars, %i x %i", (width, height) => {
    const reader = frame(width, height, type, 7 * width);
    const options = { electronsPerAdu: type === "uint16" ? 1 : 65_535 };
    const fast = measureFrame(reader, options);
    const plain = measureFrame(reader, { ...options, scratch: frameBuffers(width, height, type, true) });
    expect(fast.stars.count).toBe(plain.stars.count);
    expect(fast.stars.count).toBeGreaterThan(15);
    for (const name of [
      "starCount",
      "hotPixels",
      "saturatedFraction",
      "blockedFraction",
      "backgroundAdu",
      "noiseAdu",
    ] as const)
      expect(fast[name], name).toBe(plain[name]);
    for (const name of ["fwhmPx", "hfrPx", "eccentricity"] as const)
      expect(Math.abs(fast[name] - plain[name]), name).toBeLessThan(1e-3);
    for (let i = 0; i < fast.stars.count; i++) {
      expect(fast.stars.flags[i]).toBe(plain.stars.flags[i]);
      expect(
        Math.hypot(fast.stars.xPx[i]! - plain.stars.xPx[i]!, fast.stars.yPx[i]! - plain.stars.yPx[i]!),
      ).toBeLessThan(1e-3);
      const errors = Math.abs(fast.stars.fluxAdu[i]! - plain.stars.fluxAdu[i]!) / plain.stars.fluxErrorAdu[i]!;
      expect(errors).toBeLessThan(0.01);
    }
  });
});

/** The same frame in buffers with and without kernels. */
function both(width: number, height: number, type: "uint16" | "float32", seed: number): [FrameBuffers, FrameBuffers] {
  const reader = frame(width, height, type, seed);
  return [
    loadFrame(reader, 0, frameBuffers(width, height, type)),
    loadFrame(reader, 0, frameBuffers(width, height, type, true)),
  ];
}

/** Stars at random places with what measuring their light needs. */
function someStars(width: number, height: number, seed: number): Star[] {
  const uniform = uniforms(seed);
  return Array.from({ length: 300 }, () => {
    const [x, y] = [uniform() * width, uniform() * height];
    const [xx, xy, yy] = [3 + uniform(), uniform() - 0.5, 4 + uniform()];
    const unknown = { flux: Number.NaN, fluxError: Number.NaN, hfr: Number.NaN, flags: 0 };
    return { x, y, xx, xy, yy, peak: 900, sky: 900 + 0.2 * x, sigma: 30, ...unknown };
  });
}

describe("each kernel and its twin", () => {
  const typical = { xx: 3.5, xy: 0, yy: 4.5 };

  it("16-bit files that are turned over after reading hold the values of the standard, every one of them", () => {
    // FITS 4.0, table 11: two's complement, high byte first, and 32768 is added.
    const [width, height] = [514, 130];
    const cards = ["SIMPLE  = T", "BITPIX  = 16", "NAXIS   = 2", `NAXIS1  = ${width}`, `NAXIS2  = ${height}`];
    const header = [...cards, "BZERO   = 32768", "END"]
      .map((card) => card.padEnd(80))
      .join("")
      .padEnd(2880);
    const bytes = new Uint8Array(2880 + Math.ceil((2 * width * height) / 2880) * 2880);
    bytes.set(new TextEncoder().encode(header));
    const stored = new DataView(bytes.buffer, 2880);
    for (let i = 0; i < width * height; i++) stored.setUint16(2 * i, (i * 40_503) & 0xffff, false);
    const expected = Uint16Array.from({ length: width * height }, (_, i) => stored.getInt16(2 * i, false) + 32_768);
    expect(new Set(expected).size).toBe(65_536);
    const { source, hdu } = firstImage(memoryBytes("values", bytes));
    const reader = openPixels(source, hdu);
    expect(reader.readStored).toBeDefined();
    for (const plain of [false, true]) {
      const loaded = loadFrame(reader, 0, frameBuffers(width, height, "uint16", plain));
      expect(loaded.workspace.kernels === null).toBe(plain);
      expect(loaded.pixels).toEqual(expected);
    }
  });

  it("moments that end early lie as near to the settled ones as they say", () => {
    const settledAt = 0.01;
    const guess = { xx: 8, xy: 0, yy: 8 };
    for (const { stamp } of both(64, 64, "float32", 3)) {
      const normal = normals(uniforms(12));
      stamp.radius = 12;
      stamp.side = 25;
      let [asked, near] = [0, 0];
      for (let star = 0; star < 300; star++) {
        for (let y = -12; y <= 12; y++)
          for (let x = -12; x <= 12; x++)
            stamp.values[(y + 12) * 25 + x + 12] =
              30 * (1 + ((x - 0.3) ** 2 * 0.8 + (y + 0.2) ** 2 * 1.1) / 9) ** -2.8 + normal();
        const [soon, late] = [settledAt, 1e-5].map((settled) => {
          const found = { x: 0, y: 0, xx: 0, xy: 0, yy: 0, flux: 0 };
          return adaptiveMoments(stamp, 0, 0, guess, 5, settled, found) ? found : null;
        });
        if (!soon || !late) continue;
        asked++;
        const shape = Math.abs(soon.xx - late.xx) + Math.abs(soon.xy - late.xy) + Math.abs(soon.yy - late.yy);
        const place = Math.abs(soon.x - late.x) + Math.abs(soon.y - late.y);
        if (shape < settledAt * (late.xx + late.yy) && place < 2 * settledAt) near++;
      }
      expect(asked).toBeGreaterThan(250);
      expect(near / asked).toBeGreaterThan(0.95);
    }
  });

  it("coarser levels of 16-bit frames are the same", () => {
    const planes = both(646, 437, "uint16", 5).map((buffers) => new Levels(buffers, null).level(2).sums);
    expect(planes[0]).toEqual(planes[1]);
    expect(planes[0]!.values.some((value) => value > 16 * 900)).toBe(true);
  });

  it.each([
    ["a step of 1", { low: 3500, step: 1, whole: true }, 0],
    ["an odd step", { low: 3401, step: 7, whole: true }, 0],
    ["an even step", { low: 3401, step: 8, whole: true }, 0],
    ["a step of no whole number", { low: 3401.3, step: 2.7, whole: false }, 0],
    ["a slope", { low: 3401, step: 7, whole: true }, 0.8],
  ])("histograms are the same: %s", (_, range, tilt) => {
    const [fast, plain] = both(331, 200, "uint16", 3);
    const [one, other] = [fast, plain].map(({ sums, workspace }) => {
      const first = fillHistogram(sums, 3, 34, 17, 49, range, tilt, -tilt / 3, workspace);
      return { first, counts: Array.from(workspace.histogram.subarray(0, skyBins)) };
    });
    expect(one).toEqual(other);
    expect(one!.counts[one!.first]).toBeGreaterThan(0);
    expect(one!.counts.slice(1, one!.first).every((count) => count === 0)).toBe(true);
    expect(one!.counts.reduce((sum, count) => sum + count, 0)).toBe(31 * 32);
  });

  it.each(["uint16", "float32"] as const)("places that stand out and their votes are the same, %s", (type) => {
    const [fast, plain] = both(850, 606, type, 11);
    const [one, other] = [fast, plain].map((buffers) => {
      const sky = measureBackground(buffers, type === "uint16");
      const stars = someStars(850, 606, 2).slice(0, 40);
      return streakPoints(new Levels(buffers, null).level(1).sums, sky, 2, stars, typical, buffers.workspace);
    });
    expect(one).toEqual(other);
    expect(one!.x.length).toBeGreaterThan(300);
    const ballots = [new Ballot(one!, fast.workspace), new Ballot(other!, plain.workspace)];
    const cells = fast.workspace.votes.length;
    expect(fast.workspace.votes).toEqual(plain.workspace.votes.subarray(0, cells));
    for (const ballot of ballots) for (let point = 0; point < one!.x.length; point += 3) ballot.withdraw(point);
    expect(fast.workspace.votes).toEqual(plain.workspace.votes);
  });

  it("the first of the largest votes is found, wherever it is", () => {
    const { kernels, votes } = frameBuffers(300, 200, "uint16").workspace;
    const uniform = uniforms(8);
    for (let count = 1; count < 40; count++)
      for (let turn = 0; turn < 20; turn++) {
        const values = votes.subarray(0, count);
        for (let i = 0; i < count; i++) values[i] = Math.floor(uniform() * (turn < 10 ? 4 : 65_536));
        const expected = values.indexOf(Math.max(...values));
        expect(kernels!.firstLargest16(votes.byteOffset, count)).toBe(expected);
      }
  });

  it.each(["", "mosaic"])("stamps are the same, at the edge too %s", (mosaic) => {
    const [one, other] = both(330, 199, "uint16", 4).map((buffers) => {
      const channels = mosaic === "" ? null : measureMosaic(buffers, 1);
      channels?.balance.set([1.1, 0.95, 1, 0.9]);
      const source = { ...buffers, values: buffers.pixels, mosaic: channels };
      return someStars(330, 199, 6).map(({ x, y, sky }, i) => {
        // The kernel takes the sky in single precision.
        cutStamp(source, Math.round(x), Math.round(y), 4 + (i % 9), Math.fround(sky), buffers.stamp);
        const { side, missing, values } = buffers.stamp;
        return { missing, values: values.slice(0, side * side) };
      });
    });
    for (const [i, stamp] of one!.entries()) expect(stamp).toEqual(other![i]);
    expect(one!.some(({ missing }) => missing > 0)).toBe(true);
  });

  it.each(["", "mosaic"])("light under the weight is the same, at the edge too %s", (mosaic) => {
    const [one, other] = both(330, 199, "uint16", 4).map((buffers) => {
      const stars = someStars(330, 199, 6);
      const channels = mosaic === "" ? null : measureMosaic(buffers, 1);
      channels?.balance.set([1.1, 0.95, 1, 0.9]);
      const source = { ...buffers, values: buffers.pixels, mosaic: channels };
      measureFluxes(stars, source, { perValue: 0.7, ...typical }, buffers.stamp);
      return stars;
    });
    for (const [i, star] of one!.entries()) {
      const { flux, fluxError } = other![i]!;
      expect(Math.abs(star.flux - flux) / fluxError).toBeLessThan(1e-3);
      expect(star.fluxError / fluxError).toBeCloseTo(1, 4);
    }
  });

  it.each([0.7, 1.3, 3, 5.2, 14.4])("growth curves and foreign light are the same within %f px", (outer) => {
    const radius = Math.ceil(outer) + 1;
    const half = [0, 0];
    const [one, other] = both(330, 199, "float32", 4).map((buffers, k) => {
      const source = { ...buffers, values: buffers.pixels, mosaic: null };
      return someStars(330, 199, 6).map(({ x, y, sky }) => {
        const [middleX, middleY] = [Math.round(x), Math.round(y)];
        cutStamp(source, middleX, middleY, radius, sky / 65_535, buffers.stamp);
        const growth = { hfr: Number.NaN, flux: Number.NaN };
        if (growthCurve(buffers.stamp, x - middleX, y - middleY, outer, 0.96, growth)) half[k]!++;
        const foreign = foreignLight(buffers.stamp, x - middleX, y - middleY, outer, 1e-3, 1);
        return { ...growth, foreign };
      });
    });
    expect(half[0]).toBe(half[1]);
    expect(half[0]).toBeGreaterThan(30);
    for (const [i, { hfr, flux, foreign }] of one!.entries()) {
      const scale = Math.abs(other![i]!.flux) + 1e-2;
      if (!Number.isNaN(other![i]!.flux)) expect(Math.abs(flux - other![i]!.flux) / scale).toBeLessThan(1e-4);
      if (!Number.isNaN(other![i]!.hfr)) expect(Math.abs(hfr - other![i]!.hfr)).toBeLessThan(0.02);
      if (!Number.isNaN(other![i]!.foreign)) expect(Math.abs(foreign - other![i]!.foreign)).toBeLessThan(1e-4);
      expect(Number.isNaN(foreign)).toBe(Number.isNaN(other![i]!.foreign));
    }
  });

  it("what profiles leave over is the same", () => {
    const [one, other] = both(330, 199, "uint16", 4).map((buffers) => {
      const source = { ...buffers, values: buffers.pixels, mosaic: null };
      const fit = { fwhmMajor: 4.6, fwhmMinor: 3.9, angle: 0.4, beta: 2.8, peak: 800, sky: 2, reducedChi2: 1 };
      const fits = someStars(330, 199, 6).map((star) => {
        const { x, y } = star;
        return { star, fit: { ...fit, x: x - Math.round(x), y: y - Math.round(y) } };
      });
      return [fits, fits.slice(0, 30), fits.slice(40, 45)].map((some) =>
        halfMaximumFactor(some, source, 9, 1, buffers.stamp),
      );
    });
    for (const [i, factor] of one!.entries()) expect(factor).toBeCloseTo(other![i]!, 5);
  });

  it("colour mosaics give the same stars", () => {
    const reader = frame(640, 432, "uint16", 21);
    const options = { electronsPerAdu: 1, bayer: "RGGB" };
    const fast = measureFrame(reader, options);
    const plain = measureFrame(reader, { ...options, scratch: frameBuffers(640, 432, "uint16", true) });
    expect(fast.stars.count).toBe(plain.stars.count);
    expect(fast.stars.count).toBeGreaterThan(15);
    expect(fast.stars.flags).toEqual(plain.stars.flags);
    for (let i = 0; i < fast.stars.count; i++) {
      expect(Math.abs(fast.stars.xPx[i]! - plain.stars.xPx[i]!)).toBeLessThan(1e-3);
      const errors = Math.abs(fast.stars.fluxAdu[i]! - plain.stars.fluxAdu[i]!) / plain.stars.fluxErrorAdu[i]!;
      expect(errors).toBeLessThan(0.01);
    }
  });
});
