// What must hold of grading whatever the night is.
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { limitsFrom } from "../../src/cli/night-flags.js";
import { frontier, frontierSummary } from "../../src/grade/frontier.js";
import { gradeNight } from "../../src/grade/grade-night.js";
import { defaultLimits, type Limits } from "../../src/grade/limits.js";
import { limitsFor, purposes } from "../../src/grade/purposes.js";
import { effectsOn, leastLeap, stackFigure, worthKeeping } from "../../src/grade/stack.js";
import { stackFwhmPx } from "../../src/grade/stack-width.js";
import { whatIf } from "../../src/grade/what-if.js";
import { randomStream } from "../../src/numbers/random.js";
import { type FrameRow, type FrameTable, fromRows, selectRows } from "../../src/terms/frame-table.js";

/** A night of `n` good subs, numbered; `change` spoils some. */
function nightOf(n: number, change: (i: number) => Partial<FrameRow> = () => ({}), seed = 1): FrameTable {
  const random = randomStream(seed, "night");
  return fromRows(
    Array.from({ length: n }, (_, i) => ({
      file: `sub-${i}`,
      kind: "light",
      target: "M 51",
      filter: "L",
      startUtc: new Date(Date.UTC(2025, 9, 20, 20) + 60_000 * i).toISOString(),
      exposureS: 30,
      gainSetting: 100,
      width: 1000,
      height: 800,
      pixelScaleArcsec: 1.5,
      backgroundAdu: 500 + random.normal(),
      noiseAdu: 10 + 0.1 * random.normal(),
      backgroundGradient: 0.7 + 0.03 * random.normal(),
      starCount: 150 + Math.round(5 * random.normal()),
      fwhmPx: 2 + 0.05 * random.normal(),
      eccentricity: 0.25 + 0.05 * random.normal(),
      saturatedFraction: 0,
      streaks: 0,
      blockedFraction: 0,
      transparency: 1 + 0.01 * random.normal(),
      transparencyError: 0.005,
      shiftXPx: 2 * random.normal(),
      shiftYPx: 2 * random.normal(),
      airmass: 1.2,
      ...change(i),
    })),
  );
}

const verdictOf = (change: Partial<FrameRow>, limits: Limits = defaultLimits) => {
  const { table, symptomsOfRow } = gradeNight(
    nightOf(30, (i) => (i === 12 ? change : {})),
    { limits },
  );
  return {
    verdict: table.verdict[12],
    codes: symptomsOfRow[12]!.map(({ code }) => code),
    others: table.verdict.filter((_, i) => i !== 12),
  };
};

const stackable = fc
  .array(
    fc.record({
      signal: fc.double({ min: 0.05, max: 1, noNaN: true }),
      variance: fc.double({ min: 0.5, max: 20, noNaN: true }),
    }),
    { minLength: 1, maxLength: 9 },
  )
  .map((subs) => ({ signal: subs.map((s) => s.signal), variance: subs.map((s) => s.variance) }));

describe("the stack's arithmetic", () => {
  it("finds the best equal-weight stack of all there are, but for 3 % (every subset tried)", () => {
    fc.assert(
      fc.property(stackable, (subs) => {
        const n = subs.signal.length;
        let best = 0;
        for (let set = 1; set < 1 << n; set++) {
          const members = subs.signal.flatMap((_, i) => ((set >> i) & 1 ? [i] : []));
          best = Math.max(best, stackFigure(subs, members));
        }
        const kept = worthKeeping(
          subs,
          subs.signal.map(() => true),
        );
        // A leap over harmful subs is only made for this much; and no subset is better by more.
        expect(stackFigure(subs, kept)).toBeGreaterThan((best / (1 + leastLeap)) * (1 - 1e-12));
      }),
    );
  });

  it("a burden above 1 lowers the figure, one below raises it; the best weights never lower it", () => {
    fc.assert(
      fc.property(stackable, (subs) => {
        const kept = worthKeeping(
          subs,
          subs.signal.map(() => true),
        );
        const { burden, gainEqualWeights, gainBestWeights } = effectsOn(subs, kept);
        subs.signal.forEach((_, i) => {
          const without = kept.filter((k) => k !== i);
          if (without.length === 0) return;
          const best = (members: readonly number[]) =>
            stackFigure(
              subs,
              members,
              subs.signal.map((s, k) => s / subs.variance[k]!),
            );
          // The figures themselves, with and without the sub.
          expect(gainEqualWeights[i]).toBeCloseTo(
            stackFigure(subs, [...without, i]) / stackFigure(subs, without) - 1,
            9,
          );
          expect(gainBestWeights[i]).toBeCloseTo(best([...without, i]) / best(without) - 1, 9);
          expect(gainBestWeights[i]).toBeGreaterThan(0);
          if (Math.abs(burden[i]! - 1) > 1e-6) expect(gainEqualWeights[i]! > 0).toBe(burden[i]! < 1);
        });
      }),
    );
  });

  it("with equal signals a sub may be about twice as noisy as the mean (method notes, a2)", () => {
    const subs = (variance: number) => ({
      signal: new Array<number>(11).fill(1),
      variance: [...new Array<number>(10).fill(1), variance],
    });
    expect(worthKeeping(subs(2.05), new Array<boolean>(11).fill(true))).toHaveLength(11);
    expect(worthKeeping(subs(2.15), new Array<boolean>(11).fill(true))).toHaveLength(10);
    expect(effectsOn(subs(2.1), [0, 1, 2, 3, 4, 5, 6, 7, 8, 9]).burden[10]).toBeCloseTo(1, 12);
  });

  it("stars of equal width stay as wide; the width of a stack lies among its subs'", () => {
    fc.assert(
      fc.property(fc.array(fc.double({ min: 1, max: 9, noNaN: true }), { minLength: 1, maxLength: 20 }), (widths) => {
        const width = stackFwhmPx(
          widths,
          widths.map(() => 1),
        );
        expect(width).toBeGreaterThan(Math.min(...widths) * 0.99999);
        expect(width).toBeLessThan(Math.max(...widths) * 1.00001);
      }),
    );
    expect(stackFwhmPx([2.5, 2.5, Number.NaN], [1, 3, 1])).toBeCloseTo(2.5, 5);
    expect(stackFwhmPx([Number.NaN], [1])).toBeNaN();
  });
});

describe("grading", () => {
  it("says nothing of a good night", () => {
    for (let seed = 1; seed <= 20; seed++) {
      const { table, symptomsOfRow } = gradeNight(nightOf(60, () => ({}), seed));
      expect(table.verdict.filter((v) => v !== "keep")).toEqual([]);
      expect(symptomsOfRow.flat()).toEqual([]);
    }
  });

  it.each<[string, Partial<FrameRow>, string, string]>([
    [
      "stars gone behind a calm background",
      {
        starCount: 0,
        fwhmPx: Number.NaN,
        eccentricity: Number.NaN,
        transparency: Number.NaN,
        shiftXPx: Number.NaN,
        shiftYPx: Number.NaN,
      },
      "drop",
      "few-stars",
    ],
    ["a third of the light", { transparency: 0.33, starCount: 60 }, "drop", "faint-stars"],
    ["three times the noise", { noiseAdu: 30, backgroundAdu: 900 }, "drop", "bright-background"],
    ["warm: noise without a brighter sky", { noiseAdu: 17 }, "drop", "noisy-background"],
    ["wide stars", { fwhmPx: 3.6 }, "drop", "wide-stars"],
    ["trailed stars", { eccentricity: 0.9 }, "drop", "elongated-stars"],
    ["beside the target", { shiftXPx: -400 }, "drop", "shifted-field"],
    [
      "somewhere else altogether",
      { shiftXPx: Number.NaN, shiftYPx: Number.NaN, transparency: Number.NaN },
      "drop",
      "shifted-field",
    ],
    ["half blocked", { blockedFraction: 0.5, noiseAdu: 7 }, "drop", "blocked-area"],
    ["an uneven background", { backgroundGradient: 5 }, "drop", "uneven-background"],
    ["a streak and nothing else", { streaks: 1 }, "keep", "streak"],
    ["somewhat less light", { transparency: 0.77 }, "borderline", "faint-stars"],
    ["a little drawn out", { eccentricity: 0.66 }, "borderline", "elongated-stars"],
  ])("%s", (_, change, verdict, code) => {
    const result = verdictOf(change);
    expect(result.verdict).toBe(verdict);
    expect(result.codes).toContain(code);
    expect(new Set(result.others)).toEqual(new Set(["keep"]));
  });

  it("presets change what counts, and a user's limits win", () => {
    const wide = { fwhmPx: 3.2 };
    expect(verdictOf(wide, limitsFor("depth")).verdict).toBe("keep");
    expect(verdictOf(wide, limitsFor("balanced")).verdict).toBe("drop");
    expect(verdictOf({ fwhmPx: 2.5 }, limitsFor("detail")).verdict).toBe("drop");
    expect(verdictOf({ fwhmPx: 2.5 }, limitsFor("balanced")).verdict).toBe("borderline");
    expect(verdictOf({ fwhmPx: 2.5 }, limitsFor("depth")).verdict).toBe("keep");
    expect(verdictOf({ streaks: 1 }, limitsFor("balanced", { streak: { drop: 1 } })).verdict).toBe("drop");
    expect(limitsFor("detail", { fewestFrames: 9 })).toMatchObject({
      fewestFrames: 9,
      merit: { fwhmPower: 4 },
      eccentricity: { symptom: 0.6 },
    });
    expect(limitsFor("balanced")).toEqual(defaultLimits);
  });

  it("the command line's flags give the purpose, and streaks are dropped only when asked for", () => {
    const streaked = (flags: Parameters<typeof limitsFrom>[0]) =>
      verdictOf({ streaks: 1 }, limitsFrom(flags).limits ?? defaultLimits);
    expect(limitsFrom({})).toEqual({});
    for (const purpose of purposes) {
      expect(limitsFrom({ purpose }).limits).toEqual(limitsFor(purpose));
      expect(streaked({ purpose })).toMatchObject({ verdict: "keep", codes: ["streak"] });
      expect(streaked({ purpose, "drop-streaks": true }).verdict).toBe("drop");
      // The purpose stays what it was.
      expect(limitsFrom({ purpose, "drop-streaks": true }).limits!.merit).toEqual(limitsFor(purpose).merit);
    }
    expect(streaked({}).verdict).toBe("keep");
    const asked = streaked({ "drop-streaks": true });
    expect(asked.verdict).toBe("drop");
    expect(new Set(asked.others)).toEqual(new Set(["keep"]));
    expect(() => limitsFrom({ purpose: "pretty" })).toThrow(/--purpose is 'pretty', expected one of depth/);
  });

  it("shifts count only where most subs share a field, and what streaks may have spoiled is in doubt", () => {
    const elsewhere = { shiftXPx: -400, shiftYPx: 0 };
    const unmatched = { shiftXPx: Number.NaN, shiftYPx: Number.NaN, transparency: Number.NaN };
    // The reference was the odd one: it alone lies on itself, others on no common field, or unmatched with all their stars.
    const { table, symptomsOfRow } = gradeNight(
      nightOf(24, (i) => (i < 12 ? unmatched : i < 18 ? elsewhere : i < 23 ? { shiftXPx: 0, shiftYPx: 390 } : {})),
    );
    expect(table.verdict).not.toContain("drop");
    expect(symptomsOfRow.flat().filter(({ code }) => code === "shifted-field")).toEqual([]);
    // Without their stars the unmatched are clouded; the field is that of the others.
    const clouded = gradeNight(
      nightOf(24, (i) => (i < 12 ? { ...unmatched, starCount: 3 } : i < 15 ? elsewhere : {})),
    ).table;
    expect(clouded.verdict.slice(12, 15)).toEqual(["drop", "drop", "drop"]);
    expect(new Set(clouded.verdict.slice(15))).toEqual(new Set(["keep"]));
    // Half as many stars again as the others, none of them theirs: a field elsewhere, or the pieces of a streak.
    expect(verdictOf({ ...unmatched, starCount: 225 })).toMatchObject({
      verdict: "borderline",
      codes: ["shifted-field"],
    });
    expect(verdictOf({ ...elsewhere, starCount: 225 }).verdict).toBe("borderline");
    // Matched by the pieces of a streak, light is as doubtful as the shift; noise is not.
    expect(verdictOf({ ...elsewhere, streaks: 1, transparency: 0.65 }).verdict).toBe("borderline");
    expect(verdictOf({ ...elsewhere, streaks: 1, noiseAdu: 25 }).verdict).toBe("drop");
    expect(verdictOf({ streaks: 1, transparency: 0.6 }).verdict).toBe("drop");
  });

  it("a night mostly bad is judged by its good part", () => {
    const { table } = gradeNight(nightOf(40, (i) => (i > 9 ? { transparency: 0.3 + 0.003 * i, starCount: 50 } : {})));
    expect(table.verdict.slice(0, 10)).toEqual(new Array(10).fill("keep"));
    expect(table.verdict.slice(10)).toEqual(new Array(30).fill("drop"));
  });

  it("too few subs, or nothing to compare them by: not judged", () => {
    expect(new Set(gradeNight(nightOf(4)).table.verdict)).toEqual(new Set(["unjudged"]));
    const starless = nightOf(20, () => ({
      starCount: 2,
      transparency: Number.NaN,
      shiftXPx: Number.NaN,
      shiftYPx: Number.NaN,
    }));
    expect(new Set(gradeNight(starless).table.verdict)).toEqual(new Set(["unjudged"]));
  });

  const spoiled = fc.array(
    fc.record({
      transparency: fc.double({ min: 0.05, max: 1.02, noNaN: true }),
      noiseAdu: fc.double({ min: 8, max: 60, noNaN: true }),
      fwhmPx: fc.double({ min: 1.5, max: 8, noNaN: true }),
      eccentricity: fc.double({ min: 0, max: 0.99, noNaN: true }),
      starCount: fc.integer({ min: 0, max: 300 }),
      filter: fc.constantFrom("L", "Ha"),
    }),
    { minLength: 1, maxLength: 40 },
  );

  it("never compares across filters, and the order of rows does not matter", () => {
    fc.assert(
      fc.property(spoiled, fc.integer(), (changes, seed) => {
        const table = nightOf(changes.length, (i) => changes[i]!);
        const byFile = (graded: FrameTable) =>
          new Map(graded.file.map((file, i) => [file, [graded.verdict[i], graded.symptoms[i], graded.weight[i]]]));
        const whole = byFile(gradeNight(table).table);
        for (const filter of ["L", "Ha"]) {
          const rows = table.filter.flatMap((f, i) => (f === filter ? [i] : []));
          for (const [file, found] of byFile(gradeNight(selectRows(table, rows)).table))
            expect(found).toEqual(whole.get(file));
        }
        const random = randomStream(seed, "order");
        const order = table.file
          .map((_, i) => [random.uniform(), i] as const)
          .sort((a, b) => a[0] - b[0])
          .map(([, i]) => i);
        expect(byFile(gradeNight(selectRows(table, order)).table)).toEqual(whole);
      }),
      { numRuns: 60 },
    );
  });

  it("the scale of starlight does not matter, and a graded table can be graded again", () => {
    fc.assert(
      fc.property(spoiled, fc.double({ min: 0.01, max: 100, noNaN: true }), (changes, factor) => {
        const table = nightOf(changes.length, (i) => changes[i]!);
        const starlight = Float64Array.from(table.transparency, (t) => t * factor);
        const starlightError = starlight.map((t) => 0.01 * t);
        const once = gradeNight(table, { starlight, starlightError });
        const plain = gradeNight(table, {
          starlight: table.transparency,
          starlightError: starlightError.map((e) => e / factor),
        });
        expect(once.table.verdict).toEqual(plain.table.verdict);
        const again = gradeNight(once.table);
        expect(again.table.verdict).toEqual(once.table.verdict);
        Array.from(again.table.weight).forEach((w, i) => {
          if (Number.isFinite(w)) expect(w).toBeCloseTo(once.table.weight[i]!, 9);
        });
      }),
      { numRuns: 60 },
    );
  });

  it("10,000 rows in less than a second, what-if and frontier too", () => {
    const random = randomStream(3, "many");
    const table = nightOf(10_000, (i) =>
      i % 3 === 0 ? { transparency: 0.2 + 0.8 * random.uniform(), fwhmPx: 2 + 3 * random.uniform() } : {},
    );
    const first = performance.now();
    const graded = gradeNight(table);
    const times = [performance.now() - first];
    for (const purpose of purposes) {
      const limits = limitsFor(purpose);
      const start = performance.now();
      const again = gradeNight(graded.table, { limits });
      times.push(performance.now() - start);
      const middle = performance.now();
      expect(frontier(again.table, again.groups[0]!, { limits })!.cuts.length).toBe(40);
      times.push(performance.now() - middle);
      const last = performance.now();
      expect(whatIf(graded.table, limits)[0]!.subs).toBe(10_000);
      times.push(performance.now() - last);
    }
    console.log(
      `10,000 rows: graded in ${times[0]!.toFixed(0)} ms; again / frontier / what-if: ${times
        .slice(1)
        .map((t) => t.toFixed(0))
        .join(", ")} ms`,
    );
    expect(times[0]).toBeLessThan(1000);
    for (const time of times) expect(time).toBeLessThan(1000);
  });
});

describe("the frontier", () => {
  it("is at its best for the purpose near what the verdicts keep; stricter cuts are sharper", () => {
    const random = randomStream(9, "frontier");
    const table = nightOf(200, () => ({
      transparency: 0.5 + 0.5 * random.uniform(),
      fwhmPx: 1.8 + random.uniform() ** 2 * 3,
    }));
    for (const purpose of purposes) {
      const limits = limitsFor(purpose);
      const graded = gradeNight(table, { limits });
      const { kept, cuts, all } = frontier(graded.table, graded.groups[0]!, { limits, steps: 50 })!;
      expect([kept.depth, kept.starPeak, kept.merit]).toEqual([1, 1, 1]);
      expect(Math.max(...cuts.map(({ merit }) => merit))).toBeLessThan(1 + leastLeap);
      expect(cuts.at(-1)!.subs).toBe(all.subs);
      cuts.slice(1).forEach((cut, i) => {
        expect(cut.exposureS).toBe(30 * cut.subs);
        expect(cut.depthWeighted).toBeGreaterThan(cuts[i]!.depthWeighted);
        if (purpose === "detail") expect(cut.fwhmPx).toBeGreaterThan(cuts[i]!.fwhmPx * 0.99);
      });
    }
  });

  it("is nothing when nothing is kept", () => {
    const graded = gradeNight(nightOf(3));
    expect(frontier(graded.table, graded.groups[0]!)).toBeNull();
  });
});

describe("what if", () => {
  const random = randomStream(12, "what if");
  const measured = nightOf(200, (i) => ({
    filter: i % 2 === 0 ? "L" : "Ha",
    transparency: 0.5 + 0.5 * random.uniform(),
    fwhmPx: 1.8 + random.uniform() ** 2 * 3,
  }));
  const { table } = gradeNight(measured);

  it("the same limits change nothing", () => {
    for (const { before, after, deeper, sharper, dropped, added } of whatIf(table, defaultLimits)) {
      expect(after).toEqual(before);
      expect([deeper, sharper, dropped, added]).toEqual([0, 0, [], []]);
    }
  });

  it("other limits: as grading and the arithmetic of the stack written out here give it", () => {
    const limits = limitsFor("detail");
    const again = gradeNight(measured, { limits });
    const verdicts = [...table.verdict];
    const results = whatIf(table, limits);
    expect(results.map(({ group, subs }) => [group.filter, subs])).toEqual([
      ["L", 100],
      ["Ha", 100],
    ]);
    for (const { group, before, after, deeper, sharper, dropped, added } of results) {
      const stackable = (verdict: readonly string[]) =>
        group.rows.filter((row) => verdict[row] === "keep" || verdict[row] === "borderline");
      const [old, fresh] = [stackable(table.verdict), stackable(again.table.verdict)];
      expect([before!.subs, after!.subs]).toEqual([old.length, fresh.length]);
      expect(after!.exposureS).toBe(30 * fresh.length);
      expect(dropped).toEqual(old.filter((row) => !fresh.includes(row)));
      expect(added).toEqual(fresh.filter((row) => !old.includes(row)));
      expect(dropped.length).toBeGreaterThan(5);
      // n subs of equal light, scaled: n over the root of the sum of (noise / light)^2.
      const depth = (rows: readonly number[]) =>
        rows.length /
        Math.sqrt(rows.reduce((sum, r) => sum + (table.noiseAdu[r]! / measured.transparency[r]!) ** 2, 0));
      expect(deeper).toBeCloseTo(depth(fresh) / depth(old) - 1, 6);
      expect(before!.depth).toBe(1);
      // Width by another road: half of the mean profile, Moffat with beta 3, on a fine grid of radii.
      const width = (rows: readonly number[]) => {
        const light = (r: number) =>
          rows.reduce((sum, row) => {
            const w = table.fwhmPx[row]!;
            return sum + (1 + 4 * (2 ** (1 / 3) - 1) * (r / w) ** 2) ** -3 / w ** 2;
          }, 0);
        let r = 0;
        while (light(r) > light(0) / 2) r += 0.0005;
        return 2 * r;
      };
      expect(Math.abs(sharper - (1 - width(fresh) / width(old)))).toBeLessThan(0.003);
      expect(sharper).toBeGreaterThan(0);
      expect(deeper).toBeLessThan(0);
    }
    expect(table.verdict).toEqual(verdicts);
  });

  it("the user's decisions are in what was before; where nothing was kept there is nothing to compare with", () => {
    const decided = { ...table, verdict: table.verdict.map((v, i) => (i % 2 === 0 ? "drop" : v)) };
    const [light, narrow] = whatIf(decided, defaultLimits);
    expect(light).toMatchObject({ before: null, deeper: Number.NaN, sharper: Number.NaN, dropped: [] });
    expect(light!.after).toMatchObject({ subs: light!.added.length, depth: 1 });
    expect(narrow).toMatchObject({ deeper: 0, added: [], dropped: [] });
    expect(whatIf(gradeNight(nightOf(3)).table, defaultLimits)[0]).toMatchObject({
      before: null,
      after: null,
      subs: 3,
    });
  });

  it("a frontier in four stacks", () => {
    const limits = limitsFor("balanced");
    const graded = gradeNight(measured, { limits });
    const found = frontier(graded.table, graded.groups[0]!, { limits })!;
    const [kept, all, half, sharp] = frontierSummary(found);
    expect([kept, all, half, sharp].map((stack) => stack!.stack)).toEqual(["kept", "all", "best half", "sharp"]);
    expect([all!.subs, half!.subs]).toEqual([100, 50]);
    expect(sharp!.depth).toBeGreaterThan(0.9);
    // Every stricter cut loses more.
    for (const cut of found.cuts.filter(({ subs }) => subs < sharp!.subs)) expect(cut.depth).toBeLessThanOrEqual(0.9);
    expect(sharp!.fwhmPx).toBeLessThan(kept!.fwhmPx);
    const { stack: _, ...plain } = kept!;
    expect(plain).toEqual(found.kept);
  });
});
