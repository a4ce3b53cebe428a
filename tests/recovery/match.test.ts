// Lists of stars with known shift, rotation and brightness; what was put in must come out. Lists are made here, not
// measured, but for the last test, which goes through pixels.
import { afterAll, describe, expect, it } from "vitest";
import { fluxRatio } from "../../src/measure/flux-ratio.js";
import { type MatchableSub, matchStars } from "../../src/measure/match.js";
import { measureFrame } from "../../src/measure/measure-frame.js";
import { makeFrame, normals, readerOf, type Scene, uniforms } from "./star-frames.js";

const width = 3000;
const height = 2000;
const report: string[] = [];
afterAll(() => console.log(`matching\n${report.join("\n")}`));

interface Given {
  readonly seed: number;
  readonly stars: number;
  readonly shiftX: number;
  readonly shiftY: number;
  readonly rotationDeg: number;
  /** Starlight of the sub against the reference, at a place of the sub. */
  readonly throughput: (x: number, y: number) => number;
  /** Share of the stars that only one of the two shows. */
  readonly missing: number;
  readonly spurious: number;
}

function listOf(rows: readonly { x: number; y: number; flux: number; error: number }[]): MatchableSub {
  const column = (value: (row: (typeof rows)[number]) => number) => Float64Array.from(rows, value);
  const nothing = new Float64Array(rows.length).fill(Number.NaN);
  return {
    width,
    height,
    stars: {
      count: rows.length,
      xPx: column((row) => row.x),
      yPx: column((row) => row.y),
      fluxAdu: column((row) => row.flux),
      fluxErrorAdu: column((row) => row.error),
      snr: column((row) => row.flux / row.error),
      peakAdu: nothing,
      hfrPx: nothing,
      semiMajorPx: nothing,
      semiMinorPx: nothing,
      angleDeg: nothing,
      flags: new Uint8Array(rows.length),
    },
  };
}

function twoSubs(given: Given): { sub: MatchableSub; reference: MatchableSub } {
  const uniform = uniforms(given.seed);
  const normal = normals(uniform);
  const angle = (given.rotationDeg * Math.PI) / 180;
  const error = 60;
  const seen = (x: number, y: number, light: number) => ({
    x: x + 0.1 * normal(),
    y: y + 0.1 * normal(),
    flux: light + Math.hypot(error, 0.01 * light) * normal(),
    error: Math.hypot(error, 0.01 * light),
  });
  const reference: ReturnType<typeof seen>[] = [];
  const sub: typeof reference = [];
  for (let i = 0; i < given.stars; i++) {
    const x = uniform() * width - width / 2;
    const y = uniform() * height - height / 2;
    const light = 800 * uniform() ** -1.2;
    const toX = Math.cos(angle) * x - Math.sin(angle) * y + given.shiftX + width / 2 - 0.5;
    const toY = Math.sin(angle) * x + Math.cos(angle) * y + given.shiftY + height / 2 - 0.5;
    if (uniform() >= given.missing) reference.push(seen(x + width / 2 - 0.5, y + height / 2 - 0.5, light));
    const through = light * given.throughput(toX, toY);
    const inside = toX > 0 && toY > 0 && toX < width && toY < height;
    if (inside && uniform() >= given.missing && through > 6 * error) sub.push(seen(toX, toY, through));
  }
  for (let i = 0; i < given.spurious; i++)
    sub.push(seen(uniform() * width, uniform() * height, 900 * uniform() ** -1.2));
  return { sub: listOf(sub), reference: listOf(reference) };
}

const clear: Given = {
  seed: 1,
  stars: 300,
  shiftX: 12.4,
  shiftY: -7.3,
  rotationDeg: 0.3,
  throughput: () => 1,
  missing: 0.1,
  spurious: 20,
};
const cases: Record<string, Given> = {
  clear,
  "thin cloud": { ...clear, seed: 2, throughput: () => 0.6 },
  "thick cloud": { ...clear, seed: 3, throughput: () => 0.12 },
  "turned by 20 degrees": { ...clear, seed: 4, rotationDeg: 20, shiftX: 300 },
  "upside down": { ...clear, seed: 5, rotationDeg: 180, shiftX: -150, shiftY: 80 },
  "far off": { ...clear, seed: 6, shiftX: 1400, shiftY: 700 },
  "half of the stars missing, many false": { ...clear, seed: 7, missing: 0.45, spurious: 150 },
  "few stars": { ...clear, seed: 8, stars: 14, spurious: 2, missing: 0.05 },
};

describe("stars of two subs are matched", () => {
  it.each(Object.entries(cases))("%s", (name, given) => {
    const { sub, reference } = twoSubs(given);
    const match = matchStars(sub, reference);
    expect(match).not.toBeNull();
    const { shiftXPx, shiftYPx, rotationDeg, matches, zeroPoint, zeroPointError } = match!;
    report.push(
      `${name.padEnd(38)} shift ${shiftXPx.toFixed(2)} ${shiftYPx.toFixed(2)} px, rotation ${rotationDeg.toFixed(4)}, ${matches} stars, zero point ${zeroPoint.toFixed(4)} +- ${zeroPointError.toFixed(4)}`,
    );
    expect(Math.abs(shiftXPx - given.shiftX)).toBeLessThan(0.2);
    expect(Math.abs(shiftYPx - given.shiftY)).toBeLessThan(0.2);
    expect(Math.abs(Math.cos(((rotationDeg - given.rotationDeg) * Math.PI) / 180) - 1)).toBeLessThan(1e-6);
    const truth = given.throughput(0, 0);
    expect(Math.abs(zeroPoint - truth)).toBeLessThan(4 * zeroPointError);
    expect(zeroPointError / zeroPoint).toBeLessThan(name === "few stars" ? 0.03 : 0.01);
  });

  it("the stated error of a mean of stars is that of repeated samples", () => {
    // Without the error of the frame's flux scale, which transparency.test.ts covers: here only stars scatter.
    const deviations: number[] = [];
    const uniform = uniforms(100);
    const normal = normals(uniform);
    for (let sample = 0; sample < 200; sample++) {
      const pairs = Array.from({ length: 60 }, () => {
        const light = 2000 * uniform() ** -1.2;
        const error = Math.hypot(60, 0.01 * light);
        return { flux: 0.7 * light + error * normal(), error, before: light + error * normal(), beforeError: error };
      });
      const { zeroPoint, zeroPointError } = fluxRatio(pairs);
      deviations.push((zeroPoint - 0.7) / zeroPointError);
    }
    const scatter = Math.sqrt(deviations.reduce((sum, d) => sum + d * d, 0) / deviations.length);
    report.push(`means of 60 stars scatter by ${scatter.toFixed(2)} of their stated errors`);
    // 200 samples give the scatter to within 13 % (chi-square, 99 %).
    expect(scatter).toBeGreaterThan(0.8);
    expect(scatter).toBeLessThan(1.2);
  });

  it("cloud over half of the frame does not mislead the position, and widens the error", () => {
    const { sub, reference } = twoSubs({ ...clear, seed: 9, throughput: (x) => (x < width / 2 ? 0.4 : 1) });
    const match = matchStars(sub, reference)!;
    expect(Math.abs(match.shiftXPx - clear.shiftX)).toBeLessThan(0.2);
    expect(match.zeroPoint).toBeGreaterThan(0.4);
    expect(match.zeroPoint).toBeLessThan(1);
    const even = matchStars(twoSubs({ ...clear, seed: 9 }).sub, reference)!;
    expect(match.zeroPointError).toBeGreaterThan(2 * even.zeroPointError);
  });

  it("two different fields, mirror images and fewer than five common stars do not match", () => {
    for (let seed = 20; seed < 30; seed++) {
      const one = twoSubs({ ...clear, seed, stars: 200 });
      const other = twoSubs({ ...clear, seed: seed + 1000, stars: 200 });
      expect(matchStars(one.sub, other.reference)).toBeNull();
      const { stars } = one.reference;
      const mirrored = { ...one.reference, stars: { ...stars, xPx: stars.xPx.map((x) => width - 1 - x) } };
      expect(matchStars(mirrored, one.reference)).toBeNull();
    }
    const { sub, reference } = twoSubs({ ...clear, stars: 4, missing: 0, spurious: 0 });
    expect(reference.stars.count).toBe(4);
    expect(matchStars(sub, reference)).toBeNull();
  });

  it("through pixels: a dimmed, shifted frame tells shift and throughput", () => {
    const scene: Scene = {
      width: 800,
      height: 700,
      seed: 41,
      stars: 150,
      beta: 3.5,
      fwhmMajor: 3.2,
      fwhmMinor: 3.2,
      sky: 400,
      pedestal: 300,
      readNoiseE: 2,
      electronsPerAdu: 1,
      faintest: 1500,
      brightest: 200_000,
      apart: 20,
    };
    const before = makeFrame(scene);
    // The same stars at 0.7 of the light, wider by 30 % (worse seeing), 5.3 px to the right and 3.6 px up.
    const after = makeFrame(
      { ...scene, seed: 42, fwhmMajor: 4.2, fwhmMinor: 4.2 },
      before.stars.map((star) => ({ ...star, x: star.x + 5.3, y: star.y - 3.6, flux: 0.7 * star.flux })),
    );
    const [reference, sub] = [before, after].map((frame) =>
      measureFrame(readerOf(frame.pixels, frame.width, frame.height), { electronsPerAdu: 1 }),
    );
    const match = matchStars(sub!, reference!)!;
    report.push(`through pixels: throughput ${match.zeroPoint.toFixed(4)} +- ${match.zeroPointError.toFixed(4)} (0.7)`);
    expect(Math.abs(match.shiftXPx - 5.3)).toBeLessThan(0.05);
    expect(Math.abs(match.shiftYPx + 3.6)).toBeLessThan(0.05);
    expect(Math.abs(match.rotationDeg)).toBeLessThan(0.02);
    // Seeing must not pass for cloud: 1.5 % is the systematic part of the aperture corrections.
    expect(Math.abs(match.zeroPoint / 0.7 - 1)).toBeLessThan(0.015);
  });
});
