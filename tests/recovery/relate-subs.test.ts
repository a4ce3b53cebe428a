// Subs of a group against one another: the logic on matches that are computed, then on simulated nights of known shifts,
// rotations and starlight (FrameTruth of src/simulate/truth.ts).
import { readFileSync } from "node:fs";
import fc from "fast-check";
import { afterAll, describe, expect, it } from "vitest";
import { packBrightStars } from "../../src/measure/bright-stars.js";
import type { StarMatch } from "../../src/measure/match.js";
import { measureFrame } from "../../src/measure/measure-frame.js";
import { type Relatable, type Relation, relateSubs } from "../../src/measure/relate-subs.js";
import { perform } from "../../src/measure/sub-task.js";
import { median } from "../../src/numbers/quantiles.js";
import { exposureFacts } from "../../src/read/exposure-facts.js";
import { memoryBytes } from "../../src/read/file-bytes.js";
import { firstImage, openPixels } from "../../src/read/hdu.js";
import { parseScenario } from "../../src/simulate/scenario.js";
import { simulateNight } from "../../src/simulate/simulate-night.js";
import type { FrameTruth } from "../../src/simulate/truth.js";

const report: string[] = [];
afterAll(() => console.log(report.join("\n")));

/** Where a sub lies: the field turned about the frame's middle, then shifted; and its starlight. */
interface Pose {
  readonly x: number;
  readonly y: number;
  readonly angleDeg: number;
  readonly light: number;
}
const turn = (x: number, y: number, angleDeg: number) => {
  const a = (angleDeg * Math.PI) / 180;
  return { x: Math.cos(a) * x - Math.sin(a) * y, y: Math.sin(a) * x + Math.cos(a) * y };
};
const wrapped = (angle: number) => angle - 360 * Math.round(angle / 360);
/** What an exact match of two poses says: the sub's pose after the way back from the reference's. */
function between(sub: Pose, reference: Pose): Omit<Relation, "commonStars" | "starlightError"> {
  const rotationDeg = wrapped(sub.angleDeg - reference.angleDeg);
  const moved = turn(reference.x, reference.y, rotationDeg);
  return {
    shiftXPx: sub.x - moved.x,
    shiftYPx: sub.y - moved.y,
    rotationDeg,
    starlight: sub.light / reference.light,
  };
}
const exactly =
  (poses: readonly Pose[], meets: (sub: number, reference: number) => boolean, calls: [number, number][] = []) =>
  async (i: number, j: number): Promise<StarMatch | null> => {
    calls.push([i, j]);
    const { starlight: zeroPoint, ...motion } = between(poses[i]!, poses[j]!);
    return meets(i, j) ? { ...motion, zeroPoint, zeroPointError: 0.01 * zeroPoint, matches: 40, scatterPx: 0.1 } : null;
  };
/** Enough packed stars (21 bytes each) to be matched. */
const someStars = new Uint8Array(21 * 50);
const plain = { width: 1000, height: 800, brightStars: someStars, starCount: 100, fwhmPx: 3, airmass: 1.2 };
const group = (poses: readonly Pose[], best: number): Relatable[] =>
  poses.map((_, i) => ({ ...plain, fwhmPx: i === best ? 2 : 3 }));

function expectPoses(relations: readonly (Relation | null)[], poses: readonly Pose[], reference: number): void {
  relations.forEach((relation, i) => {
    if (relation === null) return;
    const truth = between(poses[i]!, poses[reference]!);
    expect(relation.shiftXPx).toBeCloseTo(truth.shiftXPx, 6);
    expect(relation.shiftYPx).toBeCloseTo(truth.shiftYPx, 6);
    expect(wrapped(relation.rotationDeg - truth.rotationDeg)).toBeCloseTo(0, 6);
  });
}

describe("the subs of a group", () => {
  const pose = fc.record({
    x: fc.double({ min: -90, max: 90, noNaN: true }),
    y: fc.double({ min: -90, max: 90, noNaN: true }),
    angleDeg: fc.double({ min: -180, max: 180, noNaN: true }),
    light: fc.double({ min: 0.1, max: 1, noNaN: true }),
  });
  const asyncProperty = <T>(arbitrary: fc.Arbitrary<T>, check: (value: T) => Promise<void>) =>
    fc.assert(fc.asyncProperty(arbitrary, check), { numRuns: 60 });

  it("are all related to one reference, whatever their poses", () =>
    asyncProperty(fc.array(pose, { minLength: 2, maxLength: 12 }), async (poses) => {
      const calls: [number, number][] = [];
      const { reference, relations } = await relateSubs(
        group(poses, 1),
        exactly(poses, () => true, calls),
      );
      expect(relations.every((relation) => relation !== null)).toBe(true);
      expect(relations[reference]!.shiftXPx).toBeCloseTo(0, 9);
      expectPoses(relations, poses, reference);
      // One comparison a sub, all with the sharpest one.
      expect(calls.map(([i]) => i).sort((a, b) => a - b)).toEqual(poses.flatMap((_, i) => (i === 1 ? [] : [i])));
      expect(calls.every(([, j]) => j === 1)).toBe(true);
      for (const [i, relation] of relations.entries())
        expect(relation!.starlight / relations[1]!.starlight).toBeCloseTo(poses[i]!.light / poses[1]!.light, 9);
    }));

  it("are related by way of a neighbour in time where the field turned or drifted away, once", async () => {
    const poses = Array.from({ length: 30 }, (_, i) => ({ x: 12 * i, y: -5 * i, angleDeg: 4 * i, light: 1 }));
    const reach = 10;
    const { relations } = await relateSubs(
      // Of almost the same width, as a difference adds to the error.
      group(poses, 0).map((sub) => ({ ...sub, fwhmPx: 3 + sub.fwhmPx / 1000 })),
      exactly(poses, (i, j) => Math.abs(i - j) <= reach),
    );
    // The sharpest sub reaches few others, so a second one is tried; it lies in the middle or at the end.
    const related = relations.flatMap((relation, i) => (relation === null ? [] : [i]));
    const own = relations.findIndex((relation) => relation?.commonStars === 0);
    const anchor = relations.findIndex(
      (relation) => relation?.shiftXPx === 0 || Math.abs(relation?.shiftXPx ?? 1) < 1e-9,
    );
    expect(related).toEqual(poses.flatMap((_, i) => (Math.abs(i - own) <= 2 * reach ? [i] : [])));
    expectPoses(relations, poses, anchor);
    // A comparison is off by 0.01, of which each of two equally good subs has 1 / sqrt(2); what the reference has, all have,
    // and it cancels. A second step adds the whole of its own comparison.
    for (const i of related)
      expect(relations[i]!.starlightError / relations[i]!.starlight).toBeCloseTo(
        Math.abs(i - own) <= reach ? 0.01 * Math.SQRT1_2 : 0.01 * Math.sqrt(1.5),
        6,
      );
  });

  it("where the sharpest points elsewhere, the field is that of the majority", async () => {
    // Subs 0 to 6 on target, 7 to 9 far off, the sharpest among these; then the same with fields that still overlap.
    const poses = Array.from({ length: 10 }, (_, i) => ({ x: i < 7 ? i : 600, y: 0, angleDeg: 0, light: 1 }));
    const far = await relateSubs(
      group(poses, 8),
      exactly(poses, (i, j) => i < 7 === j < 7),
    );
    expect(far.relations.map((relation) => relation !== null)).toEqual(poses.map((_, i) => i < 7));
    const near = await relateSubs(
      group(poses, 8),
      exactly(poses, () => true),
    );
    expect(near.reference).toBeLessThan(7);
    expect(near.relations[9]!.shiftXPx).toBeGreaterThan(590);
    expect(Math.abs(near.relations[0]!.shiftXPx)).toBeLessThan(7);
  });

  it("are compared with a sub without streak and obstruction where one is almost as good", async () => {
    const poses = [1, 2, 3, 4].map((x) => ({ x, y: 0, angleDeg: 0, light: 1 }));
    const comparedWith = async (spoiled: Partial<Relatable>, cleanFwhmPx: number) => {
      const calls: [number, number][] = [];
      const subs = group(poses, 0).map((sub, i) => (i === 0 ? { ...sub, ...spoiled } : sub));
      subs[2] = { ...subs[2]!, fwhmPx: cleanFwhmPx };
      await relateSubs(
        subs,
        exactly(poses, () => true, calls),
      );
      return new Set(calls.map(([, j]) => j));
    };
    expect(await comparedWith({}, 2.1)).toEqual(new Set([0]));
    expect(await comparedWith({ streaks: 1 }, 2.1)).toEqual(new Set([2]));
    expect(await comparedWith({ blockedFraction: 0.1 }, 2.1)).toEqual(new Set([2]));
    expect(await comparedWith({ streaks: Number.NaN, blockedFraction: 0.01 }, 2.1)).toEqual(new Set([0]));
    // Pieces of a streak count as stars; the sub that has so many more is still no better.
    expect(await comparedWith({ streaks: 1, starCount: 200 }, 2.1)).toEqual(new Set([2]));
    // A streak costs little: a sub that is half as sharp again is no better.
    expect(await comparedWith({ streaks: 1 }, 3)).toEqual(new Set([0]));
  });

  it("without stars are not related, and nothing is asked", async () => {
    const calls: [number, number][] = [];
    const poses = [1, 2, 3].map((x) => ({ x, y: 0, angleDeg: 0, light: 1 }));
    const blind = group(poses, 0).map((sub) => ({ ...sub, brightStars: someStars.subarray(0, 21 * 4) }));
    const result = await relateSubs(
      blind,
      exactly(poses, () => true, calls),
    );
    expect(result).toEqual({ reference: -1, relations: [null, null, null] });
    expect(calls).toEqual([]);
    expect(
      await relateSubs(
        [],
        exactly([], () => true),
      ),
    ).toEqual({ reference: -1, relations: [] });
  });
});

interface Seen {
  readonly truth: FrameTruth;
  readonly sub: Relatable;
}

function measured(name: string, seed: number): Seen[] {
  const json = readFileSync(new URL(`../scenarios/${name}.json`, import.meta.url), "utf8");
  return [...simulateNight(parseScenario(json, name), { seed })]
    .filter(({ truth }) => truth.kind === "light")
    .map(({ bytes, truth }) => {
      const image = firstImage(memoryBytes(truth.file, bytes));
      const facts = exposureFacts(image.headers);
      const { width, height, starCount, fwhmPx, stars } = measureFrame(openPixels(image.source, image.hdu), {
        electronsPerAdu: facts.electronsPerAdu?.value ?? Number.NaN,
        saturationAdu: facts.saturationAdu?.value ?? Number.NaN,
      });
      const brightStars = packBrightStars(stars);
      return { truth, sub: { width, height, starCount, fwhmPx, airmass: truth.airmass, brightStars } };
    });
}

describe("simulated nights", () => {
  const lightOff = new Map<string, number>();
  const kinds = new Map<string, { off: number[]; errors: number[] }>();
  const nights = [
    ...(["pointing-jump", "meridian-flip", "cloud", "haze", "field-rotation", "tracking-drift"] as const),
    ...(["dew", "focus-drift", "wind"] as const),
  ];
  // Each kind has seeds of its own: nights with one seed show the same stars through the same noise wherever nothing happens,
  // and would be one sample counted nine times.
  const runs = nights.flatMap((name, kind) => [11, 21].map((seed) => [name, seed + 1000 * kind] as const));
  it.each(runs)("%s, seed %d", async (name, seed) => {
    const seen = measured(name, seed);
    const { reference, relations } = await relateSubs(
      seen.map(({ sub }) => sub),
      async (i, j) => perform({ kind: "match", sub: seen[i]!.sub, reference: seen[j]!.sub }, {}) as StarMatch | null,
    );
    const known = relations.flatMap((relation, i) => (relation === null ? [] : [{ ...relation, ...seen[i]! }]));
    const poseOf = ({ truth }: Seen): Pose => ({
      ...{ x: truth.shiftXPx, y: truth.shiftYPx, angleDeg: truth.rotationDeg },
      // The scenarios' air takes 0.25 mag an airmass.
      light: truth.transparency * 10 ** (-0.1 * truth.airmass),
    });
    const truths = known.map((sub) => between(poseOf(sub), poseOf(seen[reference]!)));
    const shiftOff = known.map((sub, i) =>
      Math.hypot(sub.shiftXPx - truths[i]!.shiftXPx, sub.shiftYPx - truths[i]!.shiftYPx),
    );
    const angleOff = known.map((sub, i) => Math.abs(wrapped(sub.rotationDeg - truths[i]!.rotationDeg)));
    // Starlight has no zero of its own within a group: only ratios count.
    const ratio = known.map((sub, i) => Math.log(sub.starlight / truths[i]!.starlight));
    const zero = median(ratio);
    const rich = known.flatMap((sub, i) => (sub.commonStars >= 30 ? [ratio[i]! - zero] : []));
    const lightRms = Math.sqrt(rich.reduce((sum, off) => sum + off * off, 0) / rich.length);
    const kind = kinds.get(name) ?? { off: [], errors: [] };
    kinds.set(name, kind);
    for (const [i, sub] of known.entries()) {
      // The sub that all were compared with has nothing to be off by.
      if (sub.commonStars === 0) continue;
      kind.off.push(ratio[i]! - zero);
      kind.errors.push(sub.starlightError / sub.starlight);
    }
    const spread = (values: readonly number[]) =>
      `${Math.min(...values).toFixed(1)} to ${Math.max(...values).toFixed(1)}`;
    report.push(
      `${name} (${seed}): ${known.length} of ${seen.length} subs related; shift (${spread(known.map((r) => Math.hypot(r.shiftXPx, r.shiftYPx)))} px) off by ${median(shiftOff).toFixed(3)}, at most ${Math.max(...shiftOff).toFixed(3)} px; ` +
        `rotation (${spread(known.map((r) => r.rotationDeg))}) off by ${median(angleOff).toFixed(4)}, at most ${Math.max(...angleOff).toFixed(3)} degrees; ` +
        `starlight of ${rich.length} subs with 30 and more common stars off by ${(100 * lightRms).toFixed(2)} % rms`,
    );
    // Only what shows less than a quarter of the reference's field may be missing.
    for (const [i, one] of seen.entries()) {
      if (relations[i] !== null) continue;
      const { shiftXPx, shiftYPx } = between(poseOf(one), poseOf(seen[reference]!));
      const { width, height } = one.sub;
      const shared = Math.max(0, 1 - Math.abs(shiftXPx) / width) * Math.max(0, 1 - Math.abs(shiftYPx) / height);
      report.push(`${name} (${seed}): sub ${i} shows ${(100 * shared).toFixed(0)} % of the field and is not related`);
      expect(shared).toBeLessThan(0.25);
    }
    expect(Math.max(...shiftOff)).toBeLessThan(0.3);
    expect(Math.max(...angleOff)).toBeLessThan(0.1);
    expect(rich.length).toBeGreaterThan(seen.length / 2);
    lightOff.set(`${name} ${seed}`, lightRms);
  });

  it.each(runs)("%s, seed %d: starlight within 2 % rms", (name, seed) =>
    expect(lightOff.get(`${name} ${seed}`)!).toBeLessThan(0.02),
  );

  it("the stated errors hold the truth nine times in ten, over all nights and on each kind of night", () => {
    const isHeld = (off: number, error: number) => Math.abs(off) < 1.645 * error;
    let [subs, within] = [0, 0];
    for (const [name, { off, errors }] of kinds) {
      const held = off.filter((value, i) => isHeld(value, errors[i]!)).length;
      const rms = Math.sqrt(off.reduce((sum, value) => sum + value * value, 0) / off.length);
      report.push(
        `${name.padEnd(15)} ${off.length} subs off by ${(100 * rms).toFixed(2)} % rms, stated ${(100 * median(errors)).toFixed(2)} % (median), ${((100 * held) / off.length).toFixed(1)} % within 1.645 stated errors`,
      );
      // Nine in ten are to be held, but the errors of a night's subs are not quite independent. The galaxy's glow and close
      // neighbours in the apertures (meridian-flip), and one shape for all stars of a frame (field-rotation: 0.58 to 0.71),
      // once made frames differ by more than was stated.
      expect(held / off.length).toBeGreaterThan(name === "meridian-flip" ? 0.85 : 0.8);
      subs += off.length;
      within += held;
    }
    report.push(`all nights: ${((100 * within) / subs).toFixed(1)} % of ${subs} subs within 1.645 stated errors`);
    expect(subs).toBeGreaterThan(24 * (runs.length - 1));
    expect(Math.abs(within / subs - 0.9)).toBeLessThanOrEqual(0.05);
  });
});
