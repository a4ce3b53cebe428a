// Frames that something covers in part, with hard and soft edges: the covered fraction must come out within 5 % of the
// frame, and be 0 where vignetting and gradients only darken the sky.
import { afterAll, describe, expect, it } from "vitest";
import { measureFrame } from "../../src/measure/measure-frame.js";
import { makeFrame, readerOf, type Scene, uniforms } from "./star-frames.js";

const width = 1000;
const height = 800;
const open: Scene = {
  width,
  height,
  seed: 1,
  stars: 200,
  beta: 3,
  fwhmMajor: 3,
  fwhmMinor: 3,
  sky: 900,
  pedestal: 500,
  readNoiseE: 3,
  electronsPerAdu: 1,
  faintest: 1200,
  brightest: 150_000,
};

/** How deep behind the edge a place lies, pixels. */
type Depth = (x: number, y: number) => number;
const shapes: Record<string, (uniform: () => number) => Depth> = {
  "a roof": (uniform) => {
    const angle = 0.3 * (uniform() - 0.5);
    const edge = height * (0.85 - 0.5 * uniform());
    return (x, y) => (y - edge) * Math.cos(angle) - (x - width / 2) * Math.sin(angle);
  },
  "a corner": (uniform) => {
    const reach = 250 + 350 * uniform();
    return (x, y) => reach - 0.8 * (width - x) - 0.8 * (height - y);
  },
  "a tree": (uniform) => {
    const waves = Array.from(
      { length: 8 },
      () => [6.3 * uniform(), 0.004 + 0.05 * uniform(), 5 + 12 * uniform()] as const,
    );
    const edge = width * (0.15 + 0.3 * uniform());
    return (x, y) => edge - x + waves.reduce((sum, [phase, k, reach]) => sum + reach * Math.sin(phase + k * y), 0);
  },
  "a wall over most of it": (uniform) => {
    const edge = width * (0.7 - 0.4 * uniform());
    return (x) => x - edge;
  },
};
const framesOfEach = 6;
const report: string[] = [];
afterAll(() => console.log(`blocked area (differences in per cent of the frame)\n${report.join("\n")}`));

describe("covered parts of a frame", () => {
  it.each(Object.entries(shapes))("%s", (name, shape) => {
    const off: number[] = [];
    for (let i = 0; i < framesOfEach; i++) {
      const uniform = uniforms(40 + i);
      const depth = shape(uniform);
      // Edges from hard to 90 px from a tenth to nine tenths; nearly black, or half as bright as the sky.
      const softPx = [1, 15, 40][i % 3]!;
      const dark = i % 2 === 0 ? 0.1 : 0.5;
      const stars = [200, 60, 30][i % 3]!;
      let covered = 0;
      const frame = makeFrame({ ...open, stars, seed: i + 1 }, undefined, (light, sky) => {
        for (let y = 0, at = 0; y < height; y++)
          for (let x = 0; x < width; x++, at++) {
            const cover = 1 / (1 + Math.exp((-2 * depth(x, y)) / softPx));
            if (cover > 0.5) covered++;
            light[at]! *= 1 - cover;
            sky[at] = open.sky * (1 - cover + dark * cover);
          }
      });
      const m = measureFrame(readerOf(frame.pixels, width, height), { electronsPerAdu: 1 });
      off.push(m.blockedFraction - covered / (width * height));
    }
    report.push(`${name.padEnd(24)} ${off.map((d) => (100 * d).toFixed(1)).join("  ")}`);
    for (const d of off) expect(Math.abs(d)).toBeLessThan(0.05);
  });

  it.each([
    ["many stars", {}],
    ["a steep gradient", { slope: 600 }],
    ["three stars", { stars: 3 }],
    ["no stars", { stars: 0 }],
    ["wide stars", { fwhmMajor: 12, fwhmMinor: 12, faintest: 20_000, stars: 30 }],
    ["very bright stars", { brightest: 2e7, faintest: 20_000, stars: 30, beta: 2.5 }],
  ] as const)("vignetting covers nothing: %s", (_, scene) => {
    const frame = makeFrame({ ...open, ...scene, seed: 90 }, undefined, (light, sky) => {
      for (let y = 0, at = 0; y < height; y++)
        for (let x = 0; x < width; x++, at++) {
          const share = 1 - 0.7 * ((x / width - 0.5) ** 2 + (y / height - 0.5) ** 2);
          light[at]! *= share;
          sky[at]! *= share;
        }
    });
    expect(measureFrame(readerOf(frame.pixels, width, height), { electronsPerAdu: 1 }).blockedFraction).toBe(0);
  });
});
