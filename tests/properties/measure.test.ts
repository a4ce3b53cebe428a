// What must hold for any frame: a measurement moves, turns and scales with it. The frames are random, the relations are
// geometry and arithmetic; nothing is compared with a stored value.
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { type FrameMeasurement, measureFrame } from "../../src/measure/measure-frame.js";
import type { StarList } from "../../src/measure/star.js";
import { normalCumulative } from "../../src/numbers/normal.js";
import { makeFrame, readerOf, type Scene, uniforms } from "../recovery/star-frames.js";

const width = 440;
const height = 380;
const scene = (seed: number): Scene => ({
  width,
  height,
  seed,
  stars: 40,
  beta: 3,
  fwhmMajor: 4,
  fwhmMinor: 3,
  angleDeg: 25,
  sky: 600,
  pedestal: 400,
  readNoiseE: 3,
  electronsPerAdu: 1,
  faintest: 3000,
  brightest: 100_000,
  apart: 30,
});
const seeds = fc.integer({ min: 1, max: 1_000_000 });
const frameOf = (seed: number) => Float32Array.from(makeFrame(scene(seed)).pixels);
const measure = (pixels: Float32Array | Uint16Array, w = width, h = height, electronsPerAdu = 1) =>
  measureFrame(readerOf(pixels, w, h), { electronsPerAdu });
/** A frame put together pixel by pixel from another. */
const remapped = (pixels: Float32Array, w: number, h: number, from: (x: number, y: number) => number) => {
  const result = new Float32Array(w * h);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) result[y * w + x] = pixels[from(x, y)]!;
  return result;
};

/** Bright stars of one list that another list has at the place they should have moved to. */
function recovered(
  before: StarList,
  after: StarList,
  move: (x: number, y: number) => readonly [number, number],
): number {
  let asked = 0;
  let seen = 0;
  for (let i = 0; i < before.count; i++) {
    if (before.snr[i]! < 15 || before.flags[i] !== 0) continue;
    const [x, y] = move(before.xPx[i]!, before.yPx[i]!);
    asked++;
    for (let j = 0; j < after.count; j++)
      if (
        Math.hypot(after.xPx[j]! - x, after.yPx[j]! - y) < 0.3 &&
        Math.abs(after.fluxAdu[j]! / before.fluxAdu[i]! - 1) < 0.1
      ) {
        seen++;
        break;
      }
  }
  expect(asked).toBeGreaterThan(10);
  return seen / asked;
}

/** The 2 x 2 sums lie differently after a mirroring of an odd size or a turn, so nothing is equal to the last bit. */
function sameBut(a: FrameMeasurement, b: FrameMeasurement, turn: (angleDeg: number) => number): void {
  expect(b.backgroundAdu).toBeCloseTo(a.backgroundAdu, 0);
  expect(b.noiseAdu / a.noiseAdu).toBeGreaterThan(0.985);
  expect(b.noiseAdu / a.noiseAdu).toBeLessThan(1.015);
  expect(Math.abs(b.fwhmPx / a.fwhmPx - 1)).toBeLessThan(0.01);
  expect(Math.abs(b.hfrPx / a.hfrPx - 1)).toBeLessThan(0.02);
  expect(Math.abs(b.eccentricity - a.eccentricity)).toBeLessThan(0.02);
  const off = (((b.elongationAngleDeg - turn(a.elongationAngleDeg)) % 180) + 270) % 180;
  expect(Math.abs(off - 90)).toBeLessThan(2);
}

describe("a measurement follows its frame", () => {
  it("mirrored", () => {
    fc.assert(
      fc.property(seeds, (seed) => {
        const pixels = frameOf(seed);
        const a = measure(pixels);
        const b = measure(remapped(pixels, width, height, (x, y) => y * width + width - 1 - x));
        sameBut(a, b, (angle) => 180 - angle);
        expect(recovered(a.stars, b.stars, (x, y) => [width - 1 - x, y])).toBeGreaterThan(0.9);
      }),
      { numRuns: 6 },
    );
  });

  it("transposed", () => {
    fc.assert(
      fc.property(seeds, (seed) => {
        const pixels = frameOf(seed);
        const a = measure(pixels);
        const b = measure(
          remapped(pixels, height, width, (x, y) => x * width + y),
          height,
          width,
        );
        sameBut(a, b, (angle) => 90 - angle);
        expect(recovered(a.stars, b.stars, (x, y) => [y, x])).toBeGreaterThan(0.9);
      }),
      { numRuns: 6 },
    );
  });

  it("shifted by any number of pixels, odd ones too", () => {
    fc.assert(
      fc.property(seeds, fc.integer({ min: 1, max: 40 }), fc.integer({ min: 1, max: 40 }), (seed, dx, dy) => {
        const pixels = frameOf(seed);
        const [w, h] = [width - 40, height - 40];
        const a = measure(
          remapped(pixels, w, h, (x, y) => y * width + x),
          w,
          h,
        );
        const b = measure(
          remapped(pixels, w, h, (x, y) => (y + dy) * width + x + dx),
          w,
          h,
        );
        const inside = (x: number, y: number) => x - dx > 12 && y - dy > 12;
        const kept = Array.from({ length: a.stars.count }, (_, i) => i).filter(
          (i) => inside(a.stars.xPx[i]!, a.stars.yPx[i]!) && a.stars.snr[i]! > 15 && a.stars.flags[i] === 0,
        );
        const seen = kept.filter((i) =>
          Array.from(b.stars.xPx).some(
            (x, j) => Math.hypot(x + dx - a.stars.xPx[i]!, b.stars.yPx[j]! + dy - a.stars.yPx[i]!) < 0.3,
          ),
        );
        expect(seen.length / kept.length).toBeGreaterThan(0.9);
        expect(Math.abs(b.backgroundAdu - a.backgroundAdu)).toBeLessThan(3);
      }),
      { numRuns: 6 },
    );
  });

  it("scaled: shapes stay, light scales, when the gain is told", () => {
    fc.assert(
      fc.property(seeds, fc.double({ min: 0.001, max: 50, noNaN: true }), (seed, factor) => {
        const pixels = frameOf(seed);
        const a = measure(pixels);
        const b = measure(
          pixels.map((v) => v * factor),
          width,
          height,
          1 / factor,
        );
        expect(b.backgroundAdu / factor / a.backgroundAdu).toBeCloseTo(1, 3);
        // Scaled whole numbers fall unevenly into the bins of the histogram.
        expect(Math.abs(b.noiseAdu / factor / a.noiseAdu - 1)).toBeLessThan(0.015);
        expect(Math.abs(b.fwhmPx / a.fwhmPx - 1)).toBeLessThan(0.005);
        expect(Math.abs(b.hfrPx / a.hfrPx - 1)).toBeLessThan(0.01);
        expect(Math.abs(b.starCount - a.starCount)).toBeLessThanOrEqual(2);
      }),
      { numRuns: 8 },
    );
  });

  it("lifted by a constant: only the background changes, below zero too", () => {
    fc.assert(
      fc.property(seeds, fc.integer({ min: -3000, max: 20_000 }), (seed, constant) => {
        const pixels = frameOf(seed);
        const a = measure(pixels);
        const b = measure(pixels.map((v) => v + constant));
        expect(Math.abs(b.backgroundAdu - constant - a.backgroundAdu)).toBeLessThan(0.3);
        expect(Math.abs(b.noiseAdu / a.noiseAdu - 1)).toBeLessThan(0.005);
        expect(Math.abs(b.fwhmPx / a.fwhmPx - 1)).toBeLessThan(0.005);
        expect(Math.abs(b.starCount - a.starCount)).toBeLessThanOrEqual(2);
      }),
      { numRuns: 8 },
    );
  });

  it("16-bit and float readings of the same pixels agree, and buffers of another frame leave no trace", () => {
    const pixels = makeFrame(scene(5)).pixels;
    const other = measure(makeFrame(scene(6)).pixels);
    const again = measureFrame(readerOf(pixels, width, height), { electronsPerAdu: 1, scratch: other.scratch });
    const { scratch: _, ...one } = measure(pixels);
    const { scratch: __, ...two } = again;
    expect(two).toEqual(one);
    expect(again.scratch).toBe(other.scratch);
    const float = measure(Float32Array.from(pixels));
    expect(Math.abs(float.fwhmPx / one.fwhmPx - 1)).toBeLessThan(0.002);
    expect(Math.abs(float.backgroundAdu - one.backgroundAdu)).toBeLessThan(0.3);
  });

  it("any pixels whatever: no exception, and NaN never without a note", () => {
    const size = fc.integer({ min: 1, max: 90 });
    const kind = fc.constantFrom("constant", "noise", "not a number", "spikes", "huge", "steps");
    fc.assert(
      fc.property(size, size, kind, seeds, (w, h, what, seed) => {
        const uniform = uniforms(seed);
        const pixels = Float32Array.from({ length: w * h }, (_, i) => {
          if (what === "constant") return 1000;
          if (what === "not a number") return uniform() < 0.5 ? Number.NaN : 100 * uniform();
          if (what === "spikes") return uniform() < 0.05 ? 60_000 : 500;
          if (what === "huge") return (uniform() - 0.5) * 1e30;
          if (what === "steps") return i % w < w / 2 ? 100 : 5000 + uniform();
          return 1000 + 50 * uniform();
        });
        const m = measureFrame(readerOf(pixels, w, h));
        expect(m.starCount).toBeGreaterThanOrEqual(0);
        if (Number.isNaN(m.fwhmPx) || Number.isNaN(m.noiseAdu)) expect(m.notes.length).toBeGreaterThan(0);
        expect(m.saturatedFraction).toBeGreaterThanOrEqual(0);
        expect(m.saturatedFraction).toBeLessThanOrEqual(1);
      }),
      { numRuns: 150 },
    );
  });
});

it("the normal distribution function agrees with tabulated values", () => {
  // Abramowitz & Stegun 1964, table 26.1 (from memory); the same digits come from scipy.stats.norm.cdf 1.10.1.
  const table = [
    [0, 0.5],
    [1, 0.841344746],
    [-1, 0.158655254],
    [2, 0.977249868],
    [-3, 0.001349898],
  ] as const;
  for (const [z, p] of table) expect(Math.abs(normalCumulative(z) - p)).toBeLessThan(2e-7);
});
