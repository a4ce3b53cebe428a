// The WebAssembly kernels against their plain TypeScript twins, which are the reference: what is counted or summed in whole
// numbers must be equal, what is weighed in single precision must agree far below the noise of any star.
import { describe, expect, it } from "vitest";
import { measureBackground } from "../../src/measure/background.js";
import { findPeaks } from "../../src/measure/find-peaks.js";
import { frameBuffers } from "../../src/measure/frame-buffers.js";
import { loadFrame } from "../../src/measure/load-frame.js";
import { measureFrame } from "../../src/measure/measure-frame.js";
import { hasKernels } from "../../src/measure/simd/kernels.js";
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
