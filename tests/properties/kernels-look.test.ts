// The kernel that looks at peaks against its plain TypeScript twin, where its paths part: colour mosaics, hot pixels on and
// beside stars, saturated stars that need a larger cut-out, touching stars, bright ground and the frame's edges.
import { describe, expect, it } from "vitest";
import { frameBuffers } from "../../src/measure/frame-buffers.js";
import { type FrameMeasurement, measureFrame } from "../../src/measure/measure-frame.js";
import { starFlags } from "../../src/measure/star.js";
import { makeFrame, readerOf, type Scene } from "../recovery/star-frames.js";

const base: Scene = {
  width: 700,
  height: 521,
  seed: 3,
  stars: 700,
  beta: 3,
  fwhmMajor: 2.6,
  fwhmMinor: 2.6,
  sky: 700,
  pedestal: 300,
  readNoiseE: 2,
  electronsPerAdu: 1,
  faintest: 300,
  brightest: 3e6,
  hotPixels: 400,
};

describe.each([
  ["mono", base],
  ["mosaic", { ...base, channels: [0.8, 1.15, 1.15, 0.9], colourScatter: 0.2 }],
  [
    "mosaic of odd width, wide stars",
    { ...base, width: 603, fwhmMajor: 5, fwhmMinor: 4, channels: [0.7, 1.1, 1.1, 1.1] },
  ],
] as const)("looks at peaks by kernel and by plain TypeScript: %s", (_, scene) => {
  const { pixels, width, height } = makeFrame(scene, undefined, (_light, sky) => {
    for (let at = 0; at < sky.length; at++) {
      const [x, y] = [at % scene.width, Math.floor(at / scene.width)];
      sky[at]! += 500 * Math.exp(-((x - 200) ** 2 + (y - 250) ** 2) / (2 * 25 ** 2));
    }
  });
  const options = { electronsPerAdu: 1, saturationAdu: 8000, bayer: "channels" in scene ? "RGGB" : "" };
  const measured = (plain: boolean): FrameMeasurement =>
    measureFrame(readerOf(pixels, width, height), {
      ...options,
      scratch: frameBuffers(width, height, "uint16", plain),
    });
  const fast = measured(false);
  const plain = measured(true);

  it("finds the same stars with the same flags, and the same hot pixels", () => {
    expect(fast.stars.count).toBe(plain.stars.count);
    expect(fast.stars.count).toBeGreaterThan(150);
    expect(fast.hotPixels).toBe(plain.hotPixels);
    expect(fast.hotPixels).toBeGreaterThan(200);
    expect(fast.stars.flags).toEqual(plain.stars.flags);
    const flagged = (flag: number) => fast.stars.flags.filter((flags) => flags & flag).length;
    for (const flag of [starFlags.saturated, starFlags.incomplete, starFlags.crowded])
      expect(flagged(flag), `flag ${flag}`).toBeGreaterThan(0);
  });

  it("puts them at the same places, with the same light and shape", () => {
    for (let i = 0; i < fast.stars.count; i++) {
      const away = (of: "xPx" | "yPx" | "semiMajorPx" | "semiMinorPx") => {
        const [a, b] = [fast.stars[of][i]!, plain.stars[of][i]!];
        return Number.isNaN(a) && Number.isNaN(b) ? 0 : Math.abs(a - b);
      };
      for (const of of ["xPx", "yPx", "semiMajorPx", "semiMinorPx"] as const) expect(away(of), of).toBeLessThan(2e-3);
      const light = Math.abs(fast.stars.fluxAdu[i]! - plain.stars.fluxAdu[i]!) / plain.stars.fluxErrorAdu[i]!;
      expect(light).toBeLessThan(0.02);
    }
  });
});

it("measuring a frame twice in the same memory gives the same: mended pixels do not stay", () => {
  const { pixels, width, height } = makeFrame(base);
  const before = pixels.slice();
  const first = measureFrame(readerOf(pixels, width, height), { electronsPerAdu: 1 });
  const second = measureFrame(readerOf(pixels, width, height), { electronsPerAdu: 1, scratch: first.scratch });
  expect(pixels).toEqual(before);
  expect(second.hotPixels).toBe(first.hotPixels);
  expect(second.stars.fluxAdu).toEqual(first.stars.fluxAdu);
});
