// Frames of known sky, noise and stars (star-frames.ts, independent of the code under test) are measured, and what was put
// in must come out. Gate and printed report share one measuring function.
import { afterAll, describe, expect, it } from "vitest";
import { type FrameMeasurement, measureFrame } from "../../src/measure/measure-frame.js";
import { starFlags } from "../../src/measure/star.js";
import { median } from "../../src/numbers/quantiles.js";
import { type MadeFrame, makeFrame, readerOf, type Scene } from "./star-frames.js";

const base: Scene = {
  width: 1600,
  height: 1200,
  seed: 11,
  stars: 500,
  beta: 3.5,
  fwhmMajor: 3.5,
  fwhmMinor: 3.5,
  sky: 900,
  pedestal: 500,
  readNoiseE: 2,
  electronsPerAdu: 1,
  faintest: 900,
  brightest: 300_000,
  apart: 30,
  hotPixels: 80,
};
const scenes: Record<string, Scene> = {
  sharp: { ...base, fwhmMajor: 2, fwhmMinor: 2, faintest: 500 },
  normal: base,
  gaussian: { ...base, beta: Number.POSITIVE_INFINITY, seed: 12 },
  "out of focus, 6 px": {
    ...base,
    fwhmMajor: 2.5,
    fwhmMinor: 2.5,
    disc: { radius: 2.9, hole: 0.3 },
    faintest: 1500,
    apart: 45,
  },
  soft: { ...base, fwhmMajor: 6, fwhmMinor: 6, faintest: 1500, apart: 45 },
  trailed: { ...base, fwhmMajor: 6, fwhmMinor: 3.5, angleDeg: 30, faintest: 1200, apart: 45 },
  sloped: { ...base, slope: 400, seed: 13 },
  mosaic: { ...base, channels: [0.8, 1.15, 1.15, 0.9], colourScatter: 0.25 },
};

/** Differences allowed, as the project's plan states them; recall of stars above SNR 10, false stars a frame. */
const allowed = {
  fwhm: 0.01,
  defocusedFwhm: 0.03,
  hfr: 0.03,
  eccentricity: 0.03,
  background: 0.003,
  noise: 0.03,
  recall: 0.98,
  defocusedRecall: 0.95,
  false: 5,
};
/** Below this the eccentricity of a round star cannot be told from 0 with a hundred stars: it goes as the square root. */
const roundLimit = 0.2;

interface Result {
  readonly fwhm: number;
  readonly hfr: number;
  readonly eccentricity: number;
  readonly background: number;
  readonly noise: number;
  readonly recall: number;
  readonly false: number;
  readonly flux: number;
  readonly snr: number;
}
const report: string[] = [];
afterAll(() => console.log(`recovery (relative errors; eccentricity absolute)\n${report.join("\n")}`));

function compare(name: string, frame: MadeFrame, m: FrameMeasurement, reachPx = 3, marginPx = 8): Result {
  const { scene } = frame;
  const { stars } = m;
  const taken = new Set<number>();
  let seen = 0;
  let asked = 0;
  const flux: number[] = [];
  const snr: number[] = [];
  for (const star of frame.stars) {
    let nearest = -1;
    let best = reachPx * reachPx;
    for (let i = 0; i < stars.count; i++) {
      const d = (stars.xPx[i]! - star.x) ** 2 + (stars.yPx[i]! - star.y) ** 2;
      if (d < best) {
        best = d;
        nearest = i;
      }
    }
    if (nearest >= 0) taken.add(nearest);
    const inside =
      star.x > marginPx && star.y > marginPx && star.x < m.width - marginPx && star.y < m.height - marginPx;
    if (!inside || star.snr < 10) continue;
    asked++;
    if (nearest < 0) continue;
    seen++;
    if (stars.flags[nearest] !== 0) continue;
    flux.push(stars.fluxAdu[nearest]! / star.flux - 1);
    snr.push(stars.snr[nearest]! / star.snr - 1);
  }
  const result = {
    fwhm: m.fwhmPx / frame.truth.fwhm - 1,
    hfr: m.hfrPx / frame.truth.hfr - 1,
    eccentricity: m.eccentricity - Math.sqrt(1 - (scene.fwhmMinor / scene.fwhmMajor) ** 2),
    background: m.backgroundAdu / frame.background - 1,
    noise: m.noiseAdu / frame.noise - 1,
    recall: seen / asked,
    false: stars.count - taken.size,
    flux: median(flux),
    snr: median(snr),
  };
  const words = Object.entries(result).map(([key, value]) => `${key} ${key === "false" ? value : value.toFixed(4)}`);
  report.push(`${name.padEnd(38)} ${words.join("  ")}  (${asked} stars, FWHM error ${m.fwhmErrorPx.toFixed(3)} px)`);
  return result;
}

const measure = (frame: MadeFrame) =>
  measureFrame(readerOf(frame.pixels, frame.width, frame.height), {
    electronsPerAdu: frame.scene.electronsPerAdu,
    bayer: frame.scene.channels === undefined ? "" : "RGGB",
  });

describe("frames of stars give back what was put in", () => {
  it.each(Object.keys(scenes))("%s", (name) => {
    const frame = makeFrame(scenes[name]!);
    const m = measure(frame);
    const result = compare(name, frame, m);
    const defocused = frame.scene.disc !== undefined;
    expect(Math.abs(result.fwhm)).toBeLessThan(defocused ? allowed.defocusedFwhm : allowed.fwhm);
    expect(Math.abs(result.hfr)).toBeLessThan(allowed.hfr);
    if (frame.scene.fwhmMajor === frame.scene.fwhmMinor) expect(m.eccentricity).toBeLessThan(roundLimit);
    else expect(Math.abs(result.eccentricity)).toBeLessThan(allowed.eccentricity);
    expect(Math.abs(result.background)).toBeLessThan(allowed.background);
    expect(Math.abs(result.noise)).toBeLessThan(allowed.noise);
    expect(result.recall).toBeGreaterThanOrEqual(defocused ? allowed.defocusedRecall : allowed.recall);
    expect(result.false).toBeLessThanOrEqual(allowed.false);
    // Flux to 5 %; the Gaussian weight gives away a few per cent of the best signal to noise.
    expect(Math.abs(result.flux)).toBeLessThan(0.05);
    expect(Math.abs(result.snr)).toBeLessThan(0.08);
    expect(m.hotPixels).toBeGreaterThan(0.9 * 80);
    expect(m.hotPixels).toBeLessThan(1.1 * 80);
    expect(m.streaks.count).toBe(0);
    expect(m.blockedFraction).toBe(0);
    expect(m.fieldSpread).toBeLessThan(0.06);
  });

  it.each([
    ["sharp", { fwhmMajor: 2, fwhmMinor: 2, faintest: 300 }],
    ["normal", { faintest: 500 }],
    ["out of focus, 6 px", { ...scenes["out of focus, 6 px"], faintest: 1200 }],
  ] as const)("complete and pure in 6.4 million pixels with 1,300 hot ones: %s", (name, changes) => {
    const made = makeFrame({ ...base, ...changes, width: 3072, height: 2084, stars: 1500, apart: 40, hotPixels: 1300 });
    const m = measure(made);
    const everyStar = compare(`6.4 Mpx, ${name}`, made, m, made.truth.fwhm);
    expect(everyStar.false).toBeLessThanOrEqual(allowed.false);
    // Of all stars, though 1.6 % of the places have a hot pixel within 4 px, which outshines a faint star.
    const least = name.startsWith("out") ? allowed.defocusedRecall : allowed.recall;
    expect(everyStar.recall).toBeGreaterThanOrEqual(least);
    // Isolated: not within 4 px of a hot pixel.
    const onHot = (x: number, y: number) =>
      made.hot.some((at) => Math.abs((at % 3072) - x) < 4 && Math.abs(Math.floor(at / 3072) - y) < 4);
    const isolated = { ...made, stars: made.stars.filter(({ x, y }) => !onHot(x, y)) };
    const { recall } = compare(`6.4 Mpx, ${name}, isolated`, isolated, m, made.truth.fwhm);
    expect(recall).toBeGreaterThanOrEqual(least);
  });

  it("trailed stars tell the direction of the trail", () => {
    expect(
      Math.abs(
        measure(makeFrame({ ...scenes.trailed!, width: 1000, height: 800, stars: 120 })).elongationAngleDeg - 30,
      ),
    ).toBeLessThan(2);
  });

  it("the stated error of the FWHM is that of repeated frames", () => {
    const widths: number[] = [];
    const errors: number[] = [];
    for (let seed = 100; seed < 110; seed++) {
      const m = measure(
        makeFrame({ ...base, width: 700, height: 600, stars: 150, faintest: 3000, seed, hotPixels: 0 }),
      );
      widths.push(m.fwhmPx);
      errors.push(m.fwhmErrorPx);
    }
    const mean = widths.reduce((a, b) => a + b) / widths.length;
    const scatter = Math.sqrt(widths.reduce((sum, w) => sum + (w - mean) ** 2, 0) / (widths.length - 1));
    report.push(`FWHM of ten frames scatters by ${scatter.toFixed(4)} px, stated ${median(errors).toFixed(4)} px`);
    // Ten frames give a standard deviation to within a factor of about 1.6 (chi-square, 9 degrees of freedom, 99 %).
    expect(scatter / median(errors)).toBeGreaterThan(1 / 2.2);
    expect(scatter / median(errors)).toBeLessThan(2.2);
  });
});

describe("frames that are not as they should be", () => {
  it("no stars: zero counted, widths not measured, and a note", () => {
    const m = measure(makeFrame({ ...base, width: 1000, height: 800, stars: 0 }));
    expect(m.stars.count).toBeLessThanOrEqual(1);
    expect(m.starCount).toBe(0);
    expect([m.fwhmPx, m.hfrPx, m.eccentricity]).toEqual([Number.NaN, Number.NaN, Number.NaN]);
    expect(m.notes.join()).toMatch(/no stars/);
  });

  it("stars far out of focus are rings, and are measured as such", () => {
    const scene: Scene = { ...base, ring: [8, 20], stars: 40, faintest: 20_000, apart: 120, hotPixels: 20 };
    const frame = makeFrame(scene);
    const m = measure(frame);
    // Positions to a pixel of the 8 x 8 sums; stars cut by the edge are left out.
    const result = compare("ring", frame, m, 10, 50);
    expect(result.recall).toBeGreaterThan(0.95);
    expect(Math.abs(result.hfr)).toBeLessThan(0.03);
    expect(Math.abs(m.fwhmPx / 40 - 1)).toBeLessThan(0.06);
    expect(m.notes.join()).toMatch(/rings/);
  });

  it("wide round stars are measured on coarser sums", () => {
    const scene: Scene = {
      ...base,
      fwhmMajor: 16,
      fwhmMinor: 16,
      stars: 50,
      faintest: 30_000,
      brightest: 1e6,
      apart: 130,
    };
    const frame = makeFrame({ ...scene, hotPixels: 20 });
    const result = compare("wide", frame, measure(frame), 10, 40);
    expect(Math.abs(result.fwhm)).toBeLessThan(0.03);
    expect(Math.abs(result.hfr)).toBeLessThan(0.06);
    expect(result.recall).toBeGreaterThan(0.95);
  });

  it.each([20, 30, 300, 20_000])("a streak of %i ADU is found where it is, and is not taken for stars", (peakAdu) => {
    const frame = makeFrame({ ...base, width: 1000, height: 800, stars: 150 });
    const clean = measure(frame);
    const angle = 0.4;
    const sigma = 2;
    for (let y = 0; y < 800; y++)
      for (let x = 0; x < 1000; x++) {
        const away = (y - 300) * Math.cos(angle) - (x - 500) * Math.sin(angle);
        const at = y * 1000 + x;
        frame.pixels[at] = Math.min(
          65535,
          frame.pixels[at]! + peakAdu * Math.exp((-away * away) / (2 * sigma * sigma)),
        );
      }
    const m = measure(frame);
    expect(clean.streaks.count).toBe(0);
    expect(m.streaks.count).toBe(1);
    const streak = m.streaks.list[0]!;
    const away = (streak.yPx - 300) * Math.cos(angle) - (streak.xPx - 500) * Math.sin(angle);
    expect(Math.abs(away)).toBeLessThan(1.5);
    expect(Math.abs(streak.angleDeg - (angle * 180) / Math.PI)).toBeLessThan(0.2);
    // Inside the frame it is 1077 px long; of one at two thirds of the noise, an end may be lost.
    expect(streak.lengthPx).toBeGreaterThan(peakAdu < 30 ? 800 : 950);
    // FWHM 4.7 px, seen on sums of 2 x 2 pixels.
    expect(Math.abs(streak.widthPx - 2.3548 * sigma)).toBeLessThan(1);
    expect(Math.abs(m.starCount - clean.starCount)).toBeLessThanOrEqual(6);
    expect(Math.abs(m.fwhmPx / clean.fwhmPx - 1)).toBeLessThan(0.01);
  });

  it("a roof over part of the frame does not spoil the rest", () => {
    const frame = makeFrame({ ...base, width: 1000, height: 800, stars: 150 }, undefined, (light, sky) => {
      for (let at = 0; at < light.length; at++)
        if (at % 1000 >= 600) {
          light[at] = 0;
          sky[at] = 20;
        }
    });
    const m = measure(frame);
    expect(Math.abs(m.blockedFraction - 0.4)).toBeLessThan(0.05);
    expect(Math.abs(m.fwhmPx / 3.5 - 1)).toBeLessThan(0.02);
    expect(Math.abs(m.backgroundAdu / 1400 - 1)).toBeLessThan(0.002);
    expect(Math.abs(m.noiseAdu / frame.noise - 1)).toBeLessThan(0.03);
  });

  it("saturated stars are marked, their pixels counted, and they do not make the width", () => {
    const frame = makeFrame({ ...base, width: 1000, height: 800, brightest: 1e7, faintest: 5000, stars: 150 });
    const m = measure(frame);
    const truth = frame.pixels.reduce((n, value) => n + (value === 65535 ? 1 : 0), 0);
    expect(truth).toBeGreaterThan(3);
    expect(Math.round(m.saturatedFraction * 800_000)).toBe(truth);
    expect(Math.abs(m.fwhmPx / 3.5 - 1)).toBeLessThan(0.015);
    const marked = Array.from(m.stars.flags).filter((flags) => flags & starFlags.saturated).length;
    expect(marked).toBeGreaterThan(0);
  });

  it("a limit below the largest number is seen by two pixels at it, and none is seen where there is none", () => {
    // As a full well does: what is above 10,000 stays at it. One star a frame, so that pixels at the limit touch.
    const scene: Scene = {
      ...base,
      width: 400,
      height: 300,
      fwhmMajor: 2.2,
      fwhmMinor: 2.2,
      stars: 1,
      faintest: 40_000,
      hotPixels: 0,
    };
    let [single, several, found] = [0, 0, 0];
    for (let seed = 500; seed < 540; seed++) {
      const frame = makeFrame({ ...scene, brightest: 300_000, seed });
      const clipped = frame.pixels.map((value) => Math.min(10_000, value));
      const truth = clipped.reduce((n, value) => n + (value === 10_000 ? 1 : 0), 0);
      const m = measureFrame(readerOf(clipped, 400, 300), { electronsPerAdu: 1 });
      const marked = Array.from(m.stars.flags).filter((flags) => flags & starFlags.saturated).length;
      if (truth === 1) single++;
      if (truth > 1) several++;
      expect(Math.round(m.saturatedFraction * 120_000)).toBe(truth > 1 ? truth : 0);
      if (truth <= 1) expect(marked).toBe(0);
      else if (marked > 0) found++;
      // Stars nearer to the edge than this may not be found at all.
      const { x, y } = frame.stars[0]!;
      if (truth > 1 && Math.min(x, y, 399 - x, 299 - y) > 8) expect(marked).toBe(1);
    }
    report.push(
      `40 frames with a full well: ${several} with two and more pixels at it, the star marked in ${found}; ${single} with one (not seen)`,
    );
    expect(several).toBeGreaterThan(8);
    // Bright sky alone, where the largest values of the noise repeat, and many hot pixels, of which two may be equal.
    for (const other of [{ hotPixels: 0, sky: 9000 }, { hotPixels: 3000 }]) {
      const frame = makeFrame({ ...scene, ...other, stars: 0 });
      expect(measureFrame(readerOf(frame.pixels, 400, 300), { electronsPerAdu: 1 }).saturatedFraction).toBe(0);
    }
  });

  it("a gradient across the frame is told in units of the noise", () => {
    const m = measure(makeFrame({ ...base, width: 1000, height: 800, slope: 300, stars: 50 }));
    // The meshes' centres span 15/16 of the frame, and 2 % are left out at each end.
    expect(m.backgroundGradient * m.noiseAdu).toBeGreaterThan(0.85 * 300);
    expect(m.backgroundGradient * m.noiseAdu).toBeLessThan(300);
  });
});
