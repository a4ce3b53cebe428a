// Widths, shapes, sky and noise against what was put in, over sharpness, wings, elongation, mono and mosaic. Truth is
// worked out on a fine grid (psf.ts), independent of the code under test. One table, printed; the worst of each is asserted.
import { afterAll, describe, expect, it } from "vitest";
import { measureFrame } from "../../src/measure/measure-frame.js";
import { makeFrame, readerOf, type Scene } from "./star-frames.js";

const base: Scene = {
  width: 1000,
  height: 800,
  seed: 11,
  stars: 150,
  beta: 3.5,
  fwhmMajor: 3.5,
  fwhmMinor: 3.5,
  sky: 900,
  pedestal: 500,
  readNoiseE: 2,
  electronsPerAdu: 1,
  faintest: 8000,
  brightest: 300_000,
  apart: 36,
};
const mosaic = { channels: [0.8, 1.15, 1.15, 0.9], colourScatter: 0.25 } as const;
const trueEllipticity = 0.375;

interface Off {
  /** Relative. */
  readonly fwhm: number;
  readonly hfr: number;
  readonly background: number;
  readonly noise: number;
  /** Absolute; NaN for round stars. */
  readonly ellipticity: number;
  readonly angleDeg: number;
}
const report: string[] = [];
afterAll(() => console.log(`accuracy (relative errors; ellipticity and angle absolute)\n${report.join("\n")}`));

function measured(name: string, scene: Scene): Off {
  const frame = makeFrame(scene);
  const m = measureFrame(readerOf(frame.pixels, frame.width, frame.height), {
    electronsPerAdu: scene.electronsPerAdu,
    bayer: scene.channels === undefined ? "" : "RGGB",
  });
  const long = scene.fwhmMajor > scene.fwhmMinor;
  const off = {
    fwhm: m.fwhmPx / frame.truth.fwhm - 1,
    hfr: m.hfrPx / frame.truth.hfr - 1,
    background: m.backgroundAdu / frame.background - 1,
    noise: m.noiseAdu / frame.noise - 1,
    ellipticity: long ? 1 - Math.sqrt(1 - m.eccentricity ** 2) - (1 - scene.fwhmMinor / scene.fwhmMajor) : Number.NaN,
    angleDeg: long ? m.elongationAngleDeg - (scene.angleDeg ?? 0) : Number.NaN,
  };
  report.push(`${name.padEnd(40)} ${words(off)}`);
  return off;
}

const words = (off: Off) =>
  Object.entries(off)
    .filter(([, value]) => !Number.isNaN(value))
    .map(([key, value]) => `${key} ${value.toFixed(4)}`)
    .join("  ");

/** The largest deviation of each quantity over some frames. */
function worst(name: string, frames: readonly Off[]): Off {
  const of = (key: keyof Off) =>
    frames.reduce((most, off) => (Number.isNaN(off[key]) ? most : Math.max(most, Math.abs(off[key]))), 0);
  const most = {
    fwhm: of("fwhm"),
    hfr: of("hfr"),
    background: of("background"),
    noise: of("noise"),
    ellipticity: of("ellipticity"),
    angleDeg: of("angleDeg"),
  };
  report.push(`${`worst of ${name}`.padEnd(40)} ${words(most)}`);
  return most;
}

describe("a frame's figures are those that were put in", () => {
  it.each(["mono", "mosaic"])("%s: FWHM 2 to 8 px, Moffat beta 2.5 to 5, round and elongated", (kind) => {
    const frames: Off[] = [];
    for (const beta of [2.5, 3.5, 5])
      for (const size of [2, 3.2, 5, 8])
        for (const ratio of size === 3.2 ? [1] : [1, 1 - trueEllipticity]) {
          const fwhmMajor = size / Math.sqrt(ratio);
          frames.push(
            measured(`${kind} beta ${beta} FWHM ${size} axis ratio ${ratio}`, {
              ...base,
              beta,
              fwhmMajor,
              fwhmMinor: fwhmMajor * ratio,
              angleDeg: 30,
              seed: Math.round(10 * beta + size),
              stars: size > 4 ? 100 : 240,
              faintest: 4000 * Math.max(2, size),
              ...(kind === "mosaic" ? mosaic : {}),
            }),
          );
        }
    const most = worst(kind, frames);
    expect(most.fwhm).toBeLessThan(0.01);
    expect(most.hfr).toBeLessThan(0.03);
    expect(most.background).toBeLessThan(0.003);
    expect(most.noise).toBeLessThan(0.03);
    expect(most.ellipticity).toBeLessThan(0.01);
    expect(most.angleDeg).toBeLessThan(1);
  });

  it("two Gaussians, which no Moffat profile fits", () => {
    const frames = [2, 4, 8].flatMap((size) =>
      [1.8, 2.5].map((wider) =>
        measured(`two Gaussians ${size} px, a third ${wider} times wider`, {
          ...base,
          beta: Number.POSITIVE_INFINITY,
          fwhmMajor: size,
          fwhmMinor: size,
          second: { share: 0.35, wider },
          stars: 100,
          faintest: 5000 * size,
        }),
      ),
    );
    const most = worst("two Gaussians", frames);
    expect(most.fwhm).toBeLessThan(0.03);
    expect(most.hfr).toBeLessThan(0.03);
  });

  it("moderately out of focus: a seeing profile spread over a disc, with and without a hole", () => {
    const frames = [1, 2, 3].flatMap((radius) =>
      [0, 0.35].map((hole) =>
        measured(`disc of radius ${radius} px, hole ${hole}`, {
          ...base,
          beta: 3,
          fwhmMajor: 2.5,
          fwhmMinor: 2.5,
          disc: { radius, hole },
          stars: 80,
          faintest: 10_000,
        }),
      ),
    );
    const most = worst("out of focus", frames);
    expect(most.fwhm).toBeLessThan(0.03);
    expect(most.hfr).toBeLessThan(0.03);
  });
});
