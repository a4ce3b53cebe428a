// Small frames with and without a streak: found where it is, and nowhere else.
import { afterAll, describe, expect, it } from "vitest";
import { measureFrame } from "../../src/measure/measure-frame.js";
import { type MadeFrame, makeFrame, readerOf, type Scene, uniforms } from "./star-frames.js";

const width = 480;
const height = 360;
const plain: Scene = {
  width,
  height,
  seed: 1,
  stars: 25,
  beta: 3,
  fwhmMajor: 3,
  fwhmMinor: 3,
  sky: 400,
  pedestal: 300,
  readNoiseE: 3,
  electronsPerAdu: 1,
  faintest: 600,
  brightest: 150_000,
};
const kinds: Record<string, Partial<Scene>> = {
  plain: {},
  "out of focus": { disc: { radius: 4, hole: 0.3 }, faintest: 3000, stars: 20 },
  "steep gradient": { slope: 250 },
  "bright stars with wide wings": { beta: 2.2, brightest: 3e6, faintest: 3000, stars: 12 },
  crowded: { stars: 350, faintest: 300, brightest: 60_000 },
  trailed: { fwhmMajor: 9, fwhmMinor: 3, angleDeg: 15 },
  mosaic: { channels: [0.7, 1.2, 1.2, 0.9], colourScatter: 0.25 },
};
const framesOfEach = 45;
/** What is asked for; a line that only cuts off a corner is shorter and may be missed. */
const shortestPx = 150;

interface Line {
  readonly x: number;
  readonly y: number;
  readonly angle: number;
  /** Ends along the line, from (x, y). */
  readonly from: number;
  readonly to: number;
}
const report: string[] = [];
afterAll(() => console.log(`streaks\n${report.join("\n")}`));

/** A line through the frame: most cross it from edge to edge, some begin or end inside. */
function drawnLine(uniform: () => number): Line {
  for (;;) {
    const [x, y, angle] = [width * uniform(), height * uniform(), Math.PI * uniform()];
    const length = uniform() < 0.6 ? 2000 : shortestPx + 300 * uniform();
    const start = -length * uniform();
    let [from, to] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
    for (let t = start; t <= start + length; t++) {
      const [px, py] = [x + t * Math.cos(angle), y + t * Math.sin(angle)];
      if (px < 0 || py < 0 || px >= width || py >= height) continue;
      from = Math.min(from, t);
      to = Math.max(to, t);
    }
    if (to - from >= shortestPx) return { x, y, angle, from, to };
  }
}

function withStreak(scene: Scene, line: Line, peak: number, fwhm: number): MadeFrame {
  const [cosine, sine] = [Math.cos(line.angle), Math.sin(line.angle)];
  return makeFrame(scene, undefined, (_, sky) => {
    for (let y = 0, at = 0; y < height; y++)
      for (let x = 0; x < width; x++, at++) {
        const away = (y - line.y) * cosine - (x - line.x) * sine;
        const along = (x - line.x) * cosine + (y - line.y) * sine;
        if (Math.abs(away) > 3 * fwhm || along < line.from || along > line.to) continue;
        sky[at]! += peak * Math.exp(-4 * Math.LN2 * (away / fwhm) ** 2);
      }
  });
}

const streaksOf = (frame: MadeFrame) =>
  measureFrame(readerOf(frame.pixels, width, height), {
    electronsPerAdu: 1,
    bayer: frame.scene.channels === undefined ? "" : "RGGB",
  }).streaks.list;

describe("streaks of 1.5 sigma a pixel and more, 1.5 to 4 px wide", () => {
  const counts = { asked: 0, found: 0, clean: 0, false: 0 };

  it.each(Object.keys(kinds))("%s", (name) => {
    let found = 0;
    let wrong = 0;
    for (let i = 0; i < framesOfEach; i++) {
      const uniform = uniforms(1000 + i);
      const scene = { ...plain, ...kinds[name], seed: 300 + i };
      const line = drawnLine(uniform);
      const fwhm = 1.5 + 2.5 * uniform();
      // Half of them faint, the others up to 60 times brighter.
      const sigmas = uniform() < 0.5 ? 1.5 + uniform() : 1.5 * 60 ** uniform();
      const streaks = streaksOf(withStreak(scene, line, sigmas * Math.sqrt(plain.sky + plain.readNoiseE ** 2), fwhm));
      const hit = streaks.some(({ xPx, yPx, angleDeg }) => {
        const away = (yPx - line.y) * Math.cos(line.angle) - (xPx - line.x) * Math.sin(line.angle);
        const turned = (((angleDeg - (line.angle * 180) / Math.PI) % 180) + 270) % 180;
        return Math.abs(away) < 4 && Math.abs(turned - 90) < 2;
      });
      if (hit) found++;
      if (streaksOf(makeFrame({ ...scene, seed: 5300 + i })).length > 0) wrong++;
    }
    counts.asked += framesOfEach;
    counts.found += found;
    counts.clean += framesOfEach;
    counts.false += wrong;
    report.push(`${name.padEnd(30)} found in ${found} of ${framesOfEach}, in ${wrong} of ${framesOfEach} without one`);
    // 36 of 45 and fewer have a chance of 3 % if nine in ten are found (binomial); the sum decides.
    expect(found).toBeGreaterThan(36);
    expect(wrong).toBeLessThanOrEqual(1);
  });

  it("all together: nine in ten are found, and one frame in a hundred at most shows one that is not there", () => {
    const { asked, found, clean } = counts;
    report.push(`all: found in ${found} of ${asked}, in ${counts.false} of ${clean} without one`);
    expect(asked).toBeGreaterThan(300);
    expect(found / asked).toBeGreaterThanOrEqual(0.9);
    expect(counts.false / clean).toBeLessThanOrEqual(0.01);
  });
});
