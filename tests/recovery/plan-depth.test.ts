// Depth, goals and the plan as a whole, on tables whose numbers are set by hand; and the two commands as a user calls them.
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, afterEach, beforeAll, describe, expect, it, vi } from "vitest";
import { remaining } from "../../src/cli/remaining.js";
import { sublength } from "../../src/cli/sublength.js";
import { randomStream } from "../../src/numbers/random.js";
import { combineTables } from "../../src/plan/combine.js";
import { depthReached, noiseFall, stackLimits } from "../../src/plan/depth.js";
import { goalSeconds } from "../../src/plan/goal.js";
import { mountKind } from "../../src/plan/mount.js";
import { noiseModels } from "../../src/plan/noise-model.js";
import { remainingOf } from "../../src/plan/remaining.js";
import { comingNights } from "../../src/plan/windows.js";
import { writeEcsv } from "../../src/terms/ecsv.js";
import { type FrameRow, type FrameTable, fromRows } from "../../src/terms/frame-table.js";

const dayMs = 86_400_000;

/** Nights of 100 subs of 30 s, every tenth dropped, the kept worth 24 s each. */
function nights(count: number, change: Partial<FrameRow> = {}): FrameTable {
  const rows: Partial<FrameRow>[] = [];
  for (let night = 0; night < count; night++)
    for (let i = 0; i < 100; i++)
      rows.push({
        file: `n${night}_${i}`,
        kind: "light",
        target: "NGC 281",
        filter: "L",
        filterKind: "broadband",
        startUtc: new Date(Date.UTC(2025, 9, 16, 19) + night * dayMs + i * 33_000).toISOString(),
        exposureS: 30,
        gainSetting: 100,
        width: 1920,
        height: 1080,
        pixelScaleArcsec: 2,
        backgroundAdu: 500,
        noiseAdu: 10,
        fwhmPx: 2.5,
        eccentricity: 0.3,
        starCount: 200,
        saturatedFraction: 0,
        streaks: 0,
        blockedFraction: 0,
        backgroundGradient: 0.1,
        rotationRateDegPerH: 12,
        rotationBlurPx: 0.4,
        rotationDeg: 0,
        altitudeDeg: 50,
        airmass: 1.3,
        sunAltitudeDeg: -30,
        moonAltitudeDeg: -10,
        moonSeparationDeg: 90,
        moonIllumination: 0.3,
        transparency: 1,
        weight: 0.8,
        effectiveExposureS: 24,
        verdict: i % 10 === 9 ? "drop" : "keep",
        ...change,
      });
  return fromRows(rows);
}

describe("depth reached", () => {
  it("sums what was kept, by target and filter, in nights", () => {
    const [depth, ...others] = depthReached(nights(3));
    expect(others).toEqual([]);
    expect(depth).toMatchObject({
      target: "NGC 281",
      filter: "L",
      subs: 300,
      kept: 270,
      exposureS: 8100,
      effectiveS: 270 * 24,
    });
    expect(depth!.nights.length).toBe(3);
    expect(depth!.nights.map(({ firstMs }) => firstMs)).toEqual([0, 1, 2].map((n) => Date.UTC(2025, 9, 16 + n, 19)));
    // 3 s between subs: 300 x 33 s of clock time.
    expect(depth!.yield).toBeCloseTo(6480 / 9900, 9);
    // Effective 216 subs' worth; 270 subs of variance 1.25: 270 / sqrt(337.5).
    expect(depth!.snrOfOneSub).toBeCloseTo(Math.sqrt(216), 9);
    expect(depth!.snrEqualWeights).toBeCloseTo(270 / Math.sqrt(270 * 1.25), 9);
  });

  it("the noise of averages of white noise falls as n to the -0.5; a fixed pattern shows", () => {
    const random = randomStream(4, "stack");
    const size = 20_000;
    const counts = [1, 2, 4, 8, 16, 32, 64];
    const stack = (pattern: number) => {
      const fixed = Float64Array.from({ length: size }, () => pattern * random.normal());
      const sum = new Float64Array(size);
      const noise: number[] = [];
      for (let n = 1; n <= 64; n++) {
        for (let i = 0; i < size; i++) sum[i] = sum[i]! + fixed[i]! + random.normal();
        if (counts.includes(n)) noise.push(Math.sqrt(sum.reduce((s, v) => s + (v / n) ** 2, 0) / size));
      }
      return noiseFall(counts, noise);
    };
    expect(Math.abs(stack(0).exponent + 0.5)).toBeLessThan(0.01);
    expect(Math.abs(stack(0).excess - 1)).toBeLessThan(0.02);
    // sqrt(1/64 + 0.04) / sqrt(1.04) x 8 = 1.85.
    expect(Math.abs(stack(0.2).excess - 1.85)).toBeLessThan(0.03);
  });

  it("limits: four times the time goes 0.75 mag deeper", () => {
    const table = nights(2);
    const [noise] = noiseModels(table, { electronsPerAdu: 1, readNoiseE: 2 });
    const [depth] = depthReached(table);
    const at = (factor: number) => stackLimits({ ...depth!, effectiveS: depth!.effectiveS * factor }, noise!, 22);
    expect(at(4).starMag - at(1).starMag).toBeCloseTo(1.25 * Math.log10(4), 2);
    expect(at(4).surfaceMag - at(1).surfaceMag).toBeCloseTo(1.25 * Math.log10(4), 2);
  });
});

describe("several triage results", () => {
  it("are put on one scale by the noise of their best subs", () => {
    // The second night's sky is twice as bright: variance 200 for 100, though its own table calls its subs 0.95 each.
    const good = nights(1, { weight: 0.95, effectiveExposureS: 28.5 });
    const bright = nights(1, { weight: 0.95, effectiveExposureS: 28.5, noiseAdu: Math.sqrt(200) });
    const { table, from, ownScale } = combineTables([good, bright]);
    expect(table.effectiveExposureS[0]).toBeCloseTo(28.5, 9);
    expect(table.effectiveExposureS[150]).toBeCloseTo(14.25, 9);
    expect(from[150]).toBe(1);
    expect(ownScale).toEqual([]);
    expect(combineTables([good, nights(1, { gainSetting: 200 })]).ownScale).toMatchObject([
      { filter: "L", because: "gain" },
    ]);
  });
});

describe("goals", () => {
  const table = nights(3);
  const [depth] = depthReached(table);
  const noise = noiseModels(table, { electronsPerAdu: 1, readNoiseE: 2 })[0]!;
  it("hours, a factor deeper, like another stack", () => {
    expect(goalSeconds({ kind: "hours", hours: 5 }, depth!, null)).toEqual({ effectiveS: 18_000 });
    expect(goalSeconds({ kind: "deeper", factor: 2 }, depth!, null)).toEqual({ effectiveS: 4 * 6480 });
    expect(goalSeconds({ kind: "like", hours: 2 }, depth!, null)).toEqual({ effectiveS: 7200 });
  });

  it("signal over noise of a surface: T = SNR^2 [(s + b) + R^2/t] / s^2", () => {
    // Noise 10 ADU at 1 e-/ADU: (100 - 4) / 30 = 3.2 e-/s. 24 mag/arcsec2 with zero point 22: s = 10^-0.8 x 4 = 0.63396 e-/s/px.
    const s = 4 * 10 ** -0.8;
    const expected = (25 * (s + 3.2 + 4 / 30)) / s ** 2;
    const found = goalSeconds({ kind: "snr", snr: 5, surfaceMag: 24, zeroPointMag: 22 }, depth!, noise);
    expect(found.effectiveS! / expected).toBeCloseTo(1, 9);
    const area = goalSeconds({ kind: "snr", snr: 5, surfaceMag: 24, zeroPointMag: 22, areaArcsec2: 40 }, depth!, noise);
    expect(area.effectiveS! / expected).toBeCloseTo(0.1, 9);
  });

  it("asks for what is missing", () => {
    expect(goalSeconds({ kind: "snr", snr: 5, surfaceMag: 24 }, depth!, noise)).toEqual({
      effectiveS: null,
      missing: ["zero-point"],
    });
    expect(goalSeconds({ kind: "snr", snr: 5, surfaceMag: 24 }, depth!, noiseModels(table)[0]!)).toMatchObject({
      missing: ["electrons-per-adu", "read-noise"],
    });
    expect(goalSeconds({ kind: "deeper", factor: 0 }, depth!, null)).toMatchObject({ missing: ["positive-goal"] });
  });
});

describe("the plan", () => {
  const table = nights(4);
  const [depth] = depthReached(table);
  const site = { latitudeDeg: 50.3, longitudeDeg: 9.9, heightM: 300 };
  const target = { raDeg: 13.1, decDeg: 56.6 };
  const fromMs = Date.UTC(2025, 9, 21, 18);

  it("without a site counts nights like the past ones; with one it gives dates in order", () => {
    const counted = remainingOf(table, depth!, { goal: { kind: "hours", hours: 4.4 } });
    // 4 x 2160 s are 2.4 h; 2 h more are 7200 s, at 2160 s a night 3.3: the fourth night.
    expect(counted.forecast.nightsToGoal!.p50).toBe(4);
    expect(counted).toMatchObject({ windows: [], missing: ["site", "target"], doneBy: { p50: null } });
    const dated = remainingOf(table, depth!, {
      goal: { kind: "hours", hours: 40 },
      site,
      target,
      fromMs,
      nights: 20,
      clearOdds: 0.8,
    });
    const { p10, p50, p90 } = dated.doneBy;
    expect(p10! <= p50! && p50! <= p90!).toBe(true);
    expect(p50!).toBeGreaterThan(fromMs - dayMs);
    expect(dated.altitudeFrom).toBe("default");
    expect(remainingOf(table, depth!, { goal: { kind: "hours", hours: 1 } })).toMatchObject({
      leftS: 0,
      forecast: { nightsToGoal: { p90: 0 } },
    });
  });

  it("the best hours of a night avoid the Moon: before its rise on 2025-11-09, after its set on 2025-10-30", () => {
    const sky = { darkZenithMag: 21, extinctionMagPerAirmass: 0.25 };
    const windows = comingNights({
      site,
      target,
      fromMs: Date.UTC(2025, 9, 28, 20),
      nights: 16,
      hoursPerNight: 2,
      rate: { sky, readShare: 0.05 },
    });
    for (const { best, hours, stretches } of windows) {
      expect(best!.hours).toBeLessThanOrEqual(2 + 1e-9);
      expect(best!.startMs).toBeGreaterThanOrEqual(stretches[0]!.startMs - 1);
      expect(best!.endMs).toBeLessThanOrEqual(stretches.at(-1)!.endMs + 1);
      expect(best!.effectiveHours / best!.hours).toBeGreaterThan(0);
      expect(hours).toBeGreaterThan(best!.hours);
    }
    const [moonset, moonrise] = [windows[2]!, windows[13]!];
    expect(moonset.best!.effectiveHours / moonset.best!.hours).toBeGreaterThan(moonset.effectiveHours / moonset.hours);
    expect(moonrise.best!.effectiveHours / moonrise.best!.hours).toBeGreaterThan(
      moonrise.effectiveHours / moonrise.hours,
    );
  });

  it("tells mounts apart by how the field turned", () => {
    const turned = (rate: number) =>
      fromRows(
        [...Array(100).keys()].map((i) => ({
          kind: "light",
          exposureS: 60,
          startUtc: new Date(Date.UTC(2026, 0, 1) + i * 60_000).toISOString(),
          rotationRateDegPerH: 15,
          rotationDeg: (rate * i) / 60,
        })),
      );
    const rows = [...Array(100).keys()];
    expect(mountKind(turned(-15), rows)).toBe("alt-azimuth");
    expect(mountKind(turned(0), rows)).toBe("equatorial");
    expect(mountKind(fromRows(rows.map(() => ({ kind: "light" }))), rows)).toBe("not-known");
  });
});

describe("commands", () => {
  let folder = "";
  const out: string[] = [];
  const err: string[] = [];
  beforeAll(() => {
    folder = mkdtempSync(join(tmpdir(), "nightyield-plan-"));
    for (const [name, table] of [
      ["a", nights(3)],
      ["deep", nights(8)],
      ["odd", nights(1, { target: "My garden gnome" })],
      ["empty", fromRows([{ kind: "dark" }])],
    ] as const) {
      mkdirSync(join(folder, name));
      writeFileSync(join(folder, name, "frames.ecsv"), writeEcsv(table));
    }
  });
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  afterEach(() => vi.restoreAllMocks());
  const call = async (command: typeof remaining, args: string[]) => {
    out.length = 0;
    err.length = 0;
    vi.spyOn(console, "log").mockImplementation((text) => void out.push(String(text)));
    vi.spyOn(console, "error").mockImplementation((text) => void err.push(String(text)));
    return { code: await command.run(args), out: out.join("\n"), err: err.join("\n") };
  };
  const at = (name: string) => join(folder, name);

  it("remaining: goal, site and calendar", async () => {
    const ics = join(folder, "plan.ics");
    const run = await call(remaining, [
      at("a"),
      "--deeper",
      "2",
      "--site",
      "50.3,9.9",
      "--from",
      "2025-10-21",
      "--nights",
      "10",
      "--ics",
      ics,
    ]);
    // An emission nebula through L: done, but something needs attention.
    expect(run.code).toBe(1);
    expect(run.err).toBe(
      "attention: NGC 281: L is a broadband filter, but for this kind of object a narrowband filter is the usual choice",
    );
    expect(run.out).toContain("1.8 h effective of 2.25 h kept; 270 of 300 subs in 3 nights");
    expect(run.out).toContain(
      "goal: 7.2 h (2 times the signal over noise of now, which takes 4 times the integration); still 5.4 h effective",
    );
    expect(run.out).toMatch(/reached on the night of: 2025-10-\d\d/);
    expect(readFileSync(ics, "utf8").match(/BEGIN:VEVENT/g)).toHaveLength(10);
  });

  it("remaining: says what it needs, and what it can say without", async () => {
    const bare = await call(remaining, [at("a")]);
    expect(bare.code).toBe(1);
    expect(bare.out).toContain("yield: 65 %");
    expect(bare.err).toMatch(/--goal-hours[\s\S]*--site/);
    const like = await call(remaining, [at("a"), "--like", at("deep")]);
    expect(like.out).toContain("goal: 4.8 h (as deep as the reference stack); still 3 h");
    const odd = await call(remaining, [at("odd"), "--goal-hours", "9", "--site", "50,10"]);
    expect(odd.err).toContain("'My garden gnome' is not in the table of deep-sky objects: give --target RA,DEC");
    expect(odd.out).toContain("mostly assumed");
    const done = await call(remaining, [at("a"), "--goal-hours", "1"]);
    expect(done.out).toContain("reached");
    const snr = await call(remaining, [at("a"), "--goal-snr", "5", "--surface-mag", "24", "--zero-point", "22"]);
    expect(snr.err).toContain("--gain E_PER_ADU and --read-noise E");
    expect(JSON.parse((await call(remaining, [at("a"), "--json"])).out)[0].depth.kept).toBe(270);
  });

  it("sublength: range, reasons, and what is missing", async () => {
    const asked = await call(sublength, [
      at("a"),
      "--gain",
      "1",
      "--read-noise",
      "4",
      "--card-gb",
      "1",
      "--mount",
      "altaz",
    ]);
    expect(asked.code).toBe(0);
    // tau = 16 / (84 / 30) = 5.714 s; 5 % of noise: 9.7561 tau = 55.7 s; rotation 0.4 px in 30 s: 1 px in 75 s.
    expect(asked.out).toContain("low end: 55.7 s, below it read noise adds more than 5 %");
    expect(asked.out).toContain("high end: 75 s, above it the field's rotation");
    expect(asked.out).toContain("tried on your subs");
    const bare = await call(sublength, [at("a")]);
    expect(bare.code).toBe(1);
    expect(bare.err).toContain("--gain E_PER_ADU and --read-noise E");
    expect(bare.out).not.toContain("field's rotation");
  });

  it("wrong calls are refused with the remedy", async () => {
    await expect(remaining.run([])).rejects.toThrow(/at least one triage result/);
    await expect(remaining.run([at("nothing")])).rejects.toThrow(/Run nightyield triage first/);
    await expect(remaining.run([at("empty")])).rejects.toThrow(/no light frame/);
    await expect(remaining.run([at("a"), "--deeper", "2", "--goal-hours", "3"])).rejects.toThrow(/one goal/);
    await expect(remaining.run([at("a"), "--sun-below", "5"])).rejects.toThrow(/--sun-below/);
    await expect(remaining.run([at("a"), "--target", "nowhere"])).rejects.toThrow(/RA,DEC/);
    await expect(remaining.run([at("a"), "--filter", "Q"])).rejects.toThrow(/filters: L/);
    await expect(sublength.run([at("a"), "--gain", "x"])).rejects.toThrow(/--gain/);
    await expect(sublength.run([at("a"), "--filter", "Q"])).rejects.toThrow(/there are: L/);
  });
});
