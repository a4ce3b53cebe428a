// Nothing is lost silently: whatever a frame holds, each figure is a number or NaN with a note, and what can be told is
// told. One table of frames and of what must be true of each.
import { describe, expect, it } from "vitest";
import { type FrameMeasurement, measureFrame } from "../../src/measure/measure-frame.js";
import { starFlags } from "../../src/measure/star.js";
import type { PixelReader } from "../../src/read/pixels.js";
import { makeFrame, readerOf, type Scene, uniforms } from "./star-frames.js";

const base: Scene = {
  width: 600,
  height: 480,
  seed: 3,
  stars: 60,
  beta: 3,
  fwhmMajor: 3.4,
  fwhmMinor: 3.4,
  sky: 700,
  pedestal: 400,
  readNoiseE: 3,
  electronsPerAdu: 1,
  faintest: 2500,
  brightest: 200_000,
  apart: 24,
};
type Pixels = Uint16Array | Float32Array | Float64Array;
interface Given {
  readonly pixels: Pixels;
  readonly width: number;
  readonly height: number;
  readonly planes?: number;
  readonly type?: PixelReader["type"];
  readonly electronsPerAdu?: number;
}
const made = (
  changes: Partial<Scene>,
  given?: Parameters<typeof makeFrame>[1],
  alter?: Parameters<typeof makeFrame>[2],
) => makeFrame({ ...base, ...changes }, given, alter);
const filled = (width: number, height: number, value: (at: number) => number): Given => ({
  pixels: Uint16Array.from({ length: width * height }, (_, at) => value(at)),
  width,
  height,
});
const only = (...stars: readonly { x: number; y: number; flux: number }[]): Given => made({}, stars, undefined);
const measure = ({ pixels, width, height, planes = 1, type, electronsPerAdu = 1 }: Given): FrameMeasurement => {
  const reader = readerOf(pixels, width, height);
  return measureFrame({ ...reader, planes, type: type ?? reader.type }, { electronsPerAdu });
};
/** An image of several planes, the wanted one among planes of noise. */
function cube(planes: number, wanted: number): Given {
  const frame = made({});
  const size = frame.width * frame.height;
  const uniform = uniforms(8);
  const pixels = Uint16Array.from({ length: planes * size }, () => 1000 + 50 * uniform());
  pixels.set(frame.pixels, wanted * size);
  return { pixels, width: frame.width, height: frame.height, planes };
}

const isClose = (value: number, to: number, within: number) => expect(Math.abs(value / to - 1)).toBeLessThan(within);
const noWidths = (m: FrameMeasurement) => {
  expect([m.fwhmPx, m.hfrPx, m.eccentricity].every(Number.isNaN)).toBe(true);
  expect(m.notes.join()).toMatch(/no stars/);
};
const measured = (m: FrameMeasurement) => {
  isClose(m.fwhmPx, 3.4, 0.04);
  isClose(m.backgroundAdu, 1100, 0.005);
  expect(m.starCount).toBeGreaterThan(40);
};

const frames: readonly (readonly [string, () => Given, (m: FrameMeasurement) => void])[] = [
  [
    "all pixels alike",
    () => filled(300, 200, () => 1000),
    (m) => {
      expect(m.backgroundAdu).toBe(1000);
      expect(m.notes.join()).toMatch(/constant/);
    },
  ],
  ["all zero", () => filled(300, 200, () => 0), (m) => expect(m.notes.join()).toMatch(/constant/)],
  [
    "no stars",
    () => made({ stars: 0 }),
    (m) => {
      noWidths(m);
      expect(m.starCount).toBe(0);
      isClose(m.backgroundAdu, 1100, 0.005);
    },
  ],
  [
    "one star",
    () => only({ x: 300, y: 240, flux: 40_000 }),
    (m) => {
      expect(m.starCount).toBe(1);
      isClose(m.fwhmPx, 3.4, 0.05);
    },
  ],
  [
    "three stars",
    () => only({ x: 100, y: 240, flux: 40_000 }, { x: 300, y: 90, flux: 9000 }, { x: 500, y: 300, flux: 90_000 }),
    (m) => {
      expect(m.starCount).toBe(3);
      isClose(m.fwhmPx, 3.4, 0.05);
    },
  ],
  [
    "one faint star",
    () => only({ x: 300, y: 240, flux: 2000 }),
    (m) => {
      expect(m.starCount).toBe(1);
      isClose(m.fwhmPx, 3.4, 0.35);
      expect(m.notes.length).toBeGreaterThan(0);
    },
  ],
  [
    "every pixel saturated",
    () => filled(300, 200, () => 65_535),
    (m) => {
      expect(m.saturatedFraction).toBe(1);
      expect(m.notes.length).toBeGreaterThan(0);
    },
  ],
  [
    "every star saturated",
    () => made({ stars: 12, faintest: 3e6, brightest: 1e7, apart: 90 }),
    (m) => {
      expect(m.stars.count).toBeGreaterThan(8);
      expect(Array.from(m.stars.flags).filter((f) => f & starFlags.saturated).length).toBeGreaterThan(8);
      expect(m.saturatedFraction).toBeGreaterThan(0);
    },
  ],
  [
    "rings, far out of focus",
    () => made({ ring: [6, 15], stars: 14, faintest: 40_000, apart: 90 }),
    (m) => {
      isClose(m.fwhmPx, 30, 0.06);
      expect(m.notes.join()).toMatch(/rings/);
    },
  ],
  [
    "wide discs, far out of focus",
    () => made({ disc: { radius: 9, hole: 0 }, stars: 14, faintest: 60_000, apart: 80 }),
    (m) => {
      isClose(m.fwhmPx, 18, 0.08);
      expect(m.starCount).toBeGreaterThan(9);
    },
  ],
  [
    "long trails",
    () => made({ fwhmMajor: 22, fwhmMinor: 3.4, angleDeg: 50, stars: 20, faintest: 40_000, apart: 80 }),
    (m) => {
      expect(m.stars.count).toBeGreaterThan(10);
      expect(m.eccentricity).toBeGreaterThan(0.9);
      expect(Math.abs(m.elongationAngleDeg - 50)).toBeLessThan(3);
    },
  ],
  [
    "a nebula",
    () =>
      made({}, undefined, (_, sky) => {
        for (let at = 0; at < sky.length; at++)
          sky[at]! += 900 * Math.exp(-(((at % 600) - 250) ** 2 + (at / 600 - 200) ** 2) / 9000);
      }),
    (m) => {
      isClose(m.fwhmPx, 3.4, 0.04);
      expect(m.starCount).toBeGreaterThan(40);
    },
  ],
  [
    "a crowded field",
    () => {
      const { apart: _, ...crowded } = base;
      return makeFrame({ ...crowded, stars: 1500, faintest: 800 });
    },
    (m) => {
      isClose(m.fwhmPx, 3.4, 0.06);
      expect(m.starCount).toBeGreaterThan(300);
    },
  ],
  ["float pixels", () => ({ ...made({}), pixels: Float32Array.from(made({}).pixels), type: "float32" }), measured],
  [
    "float pixels from 0 to 1",
    () => ({
      ...made({}),
      pixels: Float32Array.from(made({}).pixels, (v) => v / 65_535),
      type: "float32",
      electronsPerAdu: 65_535,
    }),
    (m) => {
      isClose(m.backgroundAdu, 1100 / 65_535, 0.005);
      isClose(m.fwhmPx, 3.4, 0.05);
    },
  ],
  [
    "float pixels with a border of NaN",
    () => {
      const frame = made({});
      return {
        ...frame,
        pixels: Float32Array.from(frame.pixels, (v, at) => (at % 600 < 30 ? Number.NaN : v)),
        type: "float32",
      };
    },
    (m) => isClose(m.fwhmPx, 3.4, 0.04),
  ],
  [
    "8-bit pixels",
    () => {
      const frame = made({ sky: 40, pedestal: 10, readNoiseE: 1, faintest: 600, brightest: 8000 });
      return { ...frame, pixels: frame.pixels.map((v) => Math.min(255, v)), type: "uint8" };
    },
    (m) => {
      isClose(m.backgroundAdu, 50, 0.01);
      isClose(m.fwhmPx, 3.4, 0.05);
    },
  ],
  [
    "a cube of three planes",
    () => cube(3, 1),
    (m) => {
      measured(m);
      expect(m.notes.join()).toMatch(/3 planes: plane 2/);
    },
  ],
  [
    "a cube of two planes",
    () => cube(2, 0),
    (m) => {
      measured(m);
      expect(m.notes.join()).toMatch(/2 planes: plane 1/);
    },
  ],
  ["odd sizes", () => made({ width: 601, height: 483 }), measured],
  [
    "64 x 64 pixels",
    () => made({ width: 64, height: 64, stars: 3, faintest: 40_000, apart: 20 }),
    (m) => {
      expect(m.starCount).toBeGreaterThanOrEqual(1);
      isClose(m.backgroundAdu, 1100, 0.03);
      if (Number.isNaN(m.fwhmPx)) expect(m.notes.length).toBeGreaterThan(0);
      else isClose(m.fwhmPx, 3.4, 0.1);
    },
  ],
  ["one row", () => filled(500, 1, (at) => 1000 + (at % 7)), (m) => expect(m.notes.length).toBeGreaterThan(0)],
  ["one pixel", () => filled(1, 1, () => 7), (m) => expect(m.notes.length).toBeGreaterThan(0)],
];

describe("numbers, or NaN with a note", () => {
  it.each(frames)("%s", (_, make, check) => {
    const m = measure(make());
    check(m);
    const figures = [m.backgroundAdu, m.noiseAdu, m.fwhmPx, m.hfrPx, m.eccentricity];
    if (figures.some(Number.isNaN)) expect(m.notes.length).toBeGreaterThan(0);
    // A count, never a missing one; no negative or infinite figure.
    expect(Number.isInteger(m.starCount)).toBe(true);
    for (const figure of figures) expect(Number.isNaN(figure) || (Number.isFinite(figure) && figure >= 0)).toBe(true);
  });
});
