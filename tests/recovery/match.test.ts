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
    // Half of the field lets 0.4 through, the other half all: 0.7 in the mean, where logarithms would say 0.63.
    report.push(`half clouded: ${match.zeroPoint.toFixed(4)} +- ${match.zeroPointError.toFixed(4)}, truth 0.7`);
    expect(Math.abs(match.zeroPoint - 0.7)).toBeLessThan(Math.min(0.03, 3 * match.zeroPointError));
    const even = matchStars(twoSubs({ ...clear, seed: 9 }).sub, reference)!;
    expect(match.zeroPointError / match.zeroPoint).toBeGreaterThan(1.5 * (even.zeroPointError / even.zeroPoint));
  });

  it("patchy cloud: the mean over the field, within the stated error", () => {
    const off: number[] = [];
    const sigmas: number[] = [];
    for (let seed = 200; seed < 260; seed++) {
      // Waves of 0.6 to 1.5 fields in a direction and phase of the seed's; light from 0.1 to 0.9.
      const uniform = uniforms(seed);
      const [kx, ky, phase] = [(uniform() - 0.5) * 3, (uniform() - 0.5) * 3, 6.3 * uniform()];
      const through = (x: number, y: number) =>
        0.5 + 0.4 * Math.sin(phase + 2 * Math.PI * (kx * (x / width) + ky * (y / height)));
      let truth = 0;
      for (let y = 0; y < 40; y++)
        for (let x = 0; x < 40; x++) truth += through(((x + 0.5) / 40) * width, ((y + 0.5) / 40) * height) / 1600;
      const { sub, reference } = twoSubs({ ...clear, seed, stars: 150, throughput: through });
      const match = matchStars(sub, reference)!;
      off.push(match.zeroPoint / truth - 1);
      sigmas.push((match.zeroPoint - truth) / match.zeroPointError);
    }
    const rms = Math.sqrt(off.reduce((sum, o) => sum + o * o, 0) / off.length);
    const mean = off.reduce((sum, o) => sum + o, 0) / off.length;
    const held = sigmas.filter((s) => Math.abs(s) < 1.645).length / sigmas.length;
    report.push(
      `patchy cloud: rms ${(100 * rms).toFixed(2)} %, mean ${(100 * mean).toFixed(2)} %, ${(100 * held).toFixed(0)} % within 1.645 stated errors`,
    );
    expect(Math.abs(mean)).toBeLessThan(0.03);
    // Means over the stars around each place of a grid were off by 6.6 %, and held 0.82.
    expect(rms).toBeLessThan(0.06);
    expect(held).toBeGreaterThanOrEqual(0.85);
  });

  it("what vignetting does to a field that moved is not taken for cloud", () => {
    // No flats: a fifth of the light is lost in the corners, as 1 - 0.2 r^2, and the field moved by half a frame.
    const { sub, reference } = twoSubs({ ...clear, seed: 10, shiftX: 1300, shiftY: 600, throughput: () => 0.8 });
    const vignetted = ({ stars, ...size }: MatchableSub): MatchableSub => {
      const kept = stars.xPx.map((x, i) => {
        const [dx, dy] = [x - (width - 1) / 2, stars.yPx[i]! - (height - 1) / 2];
        return 1 - (0.2 * 4 * (dx * dx + dy * dy)) / (width * width + height * height);
      });
      const dimmed = (column: Float64Array) => column.map((value, i) => value * kept[i]!);
      return { ...size, stars: { ...stars, fluxAdu: dimmed(stars.fluxAdu), fluxErrorAdu: dimmed(stars.fluxErrorAdu) } };
    };
    const match = matchStars(vignetted(sub), vignetted(reference))!;
    report.push(`vignetted: ${match.zeroPoint.toFixed(4)} +- ${match.zeroPointError.toFixed(4)}, truth 0.8`);
    expect(Math.abs(match.zeroPoint - 0.8)).toBeLessThan(Math.min(0.02, 3 * match.zeroPointError));
  });

  it("fields so dense that many stars coincide by chance do not match, and match where they are the same", () => {
    const dense = (seed: number) => {
      const uniform = uniforms(seed);
      const rows = Array.from({ length: 250 }, () => {
        const flux = 800 * uniform() ** -1.2;
        return { x: 220 * uniform(), y: 220 * uniform(), flux, error: 60 };
      });
      return { ...listOf(rows), width: 220, height: 220 };
    };
    // By chance 250 x 250 x 2.5^2 pi / 220^2 = 25 pairs, a tenth of all, and more for the best of many motions.
    for (let seed = 40; seed < 60; seed++) expect(matchStars(dense(seed), dense(seed + 1000))).toBeNull();
    expect(matchStars(dense(40), dense(40))!.matches).toBe(250);
  });

  it("pieces of a streak that was not known for one are not laid on those of another sub's", () => {
    let right = 0;
    for (let seed = 5000; seed < 5020; seed++) {
      const { sub, reference } = twoSubs({ ...clear, seed, stars: 80 });
      const uniform = uniforms(seed);
      const withStreak = ({ stars }: MatchableSub) => {
        const rows = Array.from(stars.xPx, (x, i) => ({
          ...{ x, y: stars.yPx[i]!, flux: stars.fluxAdu[i]!, error: stars.fluxErrorAdu[i]! },
        }));
        const [angle, atX, atY] = [Math.PI * uniform(), width * uniform(), height * uniform()];
        for (let piece = -60; piece < 60; piece++) {
          const along = piece * (9 + 3 * uniform());
          const [x, y] = [atX + along * Math.cos(angle), atY + along * Math.sin(angle)];
          const flux = 6000 + 3000 * uniform();
          if (x > 0 && y > 0 && x < width && y < height) rows.push({ x, y, flux, error: 80 });
        }
        return listOf(rows);
      };
      const match = matchStars(withStreak(sub), withStreak(reference));
      const off = Math.hypot((match?.shiftXPx ?? 1e9) - clear.shiftX, (match?.shiftYPx ?? 1e9) - clear.shiftY);
      right += off < 0.3 ? 1 : 0;
    }
    report.push(`streaks in both subs: ${right} of 20 matched as they lie`);
    expect(right).toBe(20);
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
