// Sub length without pixels: tables of the same sky at 5, 10, 15, 20 and 30 s, written from one stream of seeing and one list of
// gusts. What the 5 s subs predict of the longer ones is compared with the longer tables themselves.
import { describe, expect, it } from "vitest";
import { gradeNight } from "../../src/grade/grade-night.js";
import { quantile } from "../../src/numbers/quantiles.js";
import { randomStream } from "../../src/numbers/random.js";
import { longerSubs } from "../../src/plan/longer-subs.js";
import { lossRate } from "../../src/plan/losses.js";
import { noiseModels } from "../../src/plan/noise-model.js";
import { subLengthAdvice } from "../../src/plan/sub-length.js";
import { type FrameRow, type FrameTable, fromRows } from "../../src/terms/frame-table.js";

interface Sky {
  readonly skyEPerS: number;
  readonly readE: number;
  readonly gustsPerH: number;
  readonly driftPxPerS: number;
}
const gain = 0.8;
const pedestal = 400;
const overheadS = 2;

/**
 * How much wider a star of 3 px becomes along and across a movement: its profile (1 + r^2 / a^2)^-3, summed over 400 places
 * along the way, and followed outward in steps of 0.002 px until half of the middle is left.
 */
function drawnOut(lengthPx: number): { along: number; across: number } {
  const a2 = 2.25 / (2 ** (1 / 3) - 1);
  const places = Array.from({ length: 400 }, (_, i) => ((i + 0.5) / 400 - 0.5) * lengthPx);
  const light = (x: number, y: number) => places.reduce((sum, p) => sum + (1 + ((x - p) ** 2 + y ** 2) / a2) ** -3, 0);
  const half = light(0, 0) / 2;
  const radius = (dx: number, dy: number) => {
    let r = 1;
    while (light(r * dx, r * dy) > half) r += 0.002;
    return r / 1.5;
  };
  return { along: radius(1, 0), across: radius(0, 1) };
}

/** Four hours in subs of one length. Seeing and gusts belong to the instant, not to the sub. */
function tableOf(subS: number, { skyEPerS, readE, gustsPerH, driftPxPerS }: Sky, seed: number, hours = 4): FrameTable {
  const air = randomStream(seed, "air");
  const seeing = Array.from({ length: hours * 3600 + 60 }, () => 0);
  let slow = 0;
  for (let s = 0; s < seeing.length; s++) {
    slow += -slow / 300 + 0.012 * air.normal();
    seeing[s] = 3 * Math.exp(slow + 0.05 * air.normal());
  }
  const gusts = Array.from({ length: air.poisson(gustsPerH * hours) }, () => air.between(0, hours * 3600));
  const random = randomStream(seed, "subs", subS);
  const drawn = drawnOut(driftPxPerS * subS);
  const rows: Partial<FrameRow>[] = [];
  for (let from = 0; from + subS <= hours * 3600; from += subS + overheadS) {
    const part = seeing.slice(from, from + subS);
    // A gust shakes the stars along x by 6 px (rms) for three seconds; variances along x and y, mean over the seconds.
    const shaken = part.map((_, i) => (gusts.some((at) => from + i >= at && from + i < at + 3) ? 36 : 0));
    const mean = (of: readonly number[]) => of.reduce((sum, v) => sum + v, 0) / of.length;
    const still = mean(part.map((f) => f * f)) / (8 * Math.LN2);
    const yy = still * drawn.across ** 2;
    const xx = (still + mean(shaken)) * drawn.along ** 2;
    const variance = (skyEPerS * subS + readE * readE) / gain ** 2;
    rows.push({
      file: `s${rows.length}`,
      kind: "light",
      target: "T",
      filter: "L",
      startUtc: new Date(Date.UTC(2026, 0, 10, 20) + from * 1000).toISOString(),
      exposureS: subS,
      gainSetting: 100,
      sensorTempC: -5,
      width: 1920,
      height: 1080,
      pixelScaleArcsec: 2,
      backgroundAdu: pedestal + (skyEPerS * subS) / gain + 0.3 * random.normal(),
      noiseAdu: Math.sqrt(variance) * (1 + 0.004 * random.normal()),
      backgroundGradient: 0.1,
      starCount: 300 + Math.round(5 * random.normal()),
      // As frames are measured: the width of a circle of the same area.
      fwhmPx: Math.sqrt(8 * Math.LN2 * Math.sqrt(xx * yy)) * (1 + 0.01 * random.normal()),
      hfrPx: 1.7,
      eccentricity: Math.hypot(Math.sqrt(1 - yy / xx), 0.2 + 0.02 * random.normal()),
      elongationAngleDeg: 0,
      fieldSpread: 0.05,
      saturatedFraction: 1e-5,
      hotPixels: 10,
      streaks: 0,
      blockedFraction: 0,
      shiftXPx: driftPxPerS * from,
      shiftYPx: 0,
      rotationDeg: 0,
      altitudeDeg: 50,
      azimuthDeg: 180,
      airmass: 1.3,
      sunAltitudeDeg: -40,
      moonAltitudeDeg: -20,
      moonSeparationDeg: 90,
      moonIllumination: 0.2,
      rotationRateDegPerH: 15,
      rotationBlurPx: (1101 * ((15 * Math.PI) / 180) * subS) / 3600,
    });
  }
  return fromRows(rows);
}
const truths = new Map<string, ReturnType<typeof truthNow>>();
const rowsOf = (table: FrameTable) => Array.from({ length: table.rows }, (_, row) => row);

/** What the longer subs really brought: signal over noise per root of clock time, width, keep rate. */
function truthOf(subS: number, sky: Sky, seed: number) {
  const key = JSON.stringify([subS, sky, seed]);
  const known = truths.get(key) ?? truthNow(subS, sky, seed);
  truths.set(key, known);
  return known;
}

function truthNow(subS: number, sky: Sky, seed: number) {
  const { table } = gradeNight(tableOf(subS, sky, seed));
  const kept = rowsOf(table).filter((row) => table.verdict[row] !== "drop");
  const squares = kept.reduce((sum, row) => sum + (subS / table.noiseAdu[row]!) ** 2, 0);
  return {
    snr: Math.sqrt(squares / (table.rows * (subS + overheadS))),
    fwhmPx: quantile(
      kept.map((row) => table.fwhmPx[row]!),
      0.5,
    ),
    keepRate: kept.length / table.rows,
  };
}

describe("subs added as if they had been longer", () => {
  it.each([
    ["town sky", { skyEPerS: 8, readE: 1.6, gustsPerH: 12, driftPxPerS: 0.02 }],
    ["narrow filter", { skyEPerS: 0.25, readE: 1.6, gustsPerH: 6, driftPxPerS: 0 }],
    ["windy", { skyEPerS: 3, readE: 3, gustsPerH: 40, driftPxPerS: 0.05 }],
  ])(
    "%s: from 5 s and from 10 s to 30 s, signal within 5 %%, width within 3 %%, keep rate within its interval",
    (name, sky) => {
      const worst = { snr: 0, fwhm: 0 };
      let [outside, cases] = [0, 0];
      for (let seed = 1; seed <= 4; seed++)
        for (const [fromS, times] of [
          [5, [2, 3, 4, 6]],
          [10, [2, 3]],
        ] as const) {
          const short = tableOf(fromS, sky, seed);
          const predicted = longerSubs(gradeNight(short).table, rowsOf(short), times, {
            readNoiseAdu: sky.readE / gain,
          });
          const base = truthOf(fromS, sky, seed);
          expect(predicted.map(({ times: k }) => k)).toEqual([1, ...times]);
          for (const p of predicted) {
            const truth = truthOf(p.exposureS, sky, seed);
            worst.snr = Math.max(worst.snr, Math.abs(p.snrPerClock / (truth.snr / base.snr) - 1));
            worst.fwhm = Math.max(worst.fwhm, Math.abs(p.fwhmPx / truth.fwhmPx - 1));
            cases++;
            if (truth.keepRate < p.keepInterval.low || truth.keepRate > p.keepInterval.high) outside++;
          }
        }
      console.log(
        `${name}: signal off by at most ${(100 * worst.snr).toFixed(1)} %, width ${(100 * worst.fwhm).toFixed(1)} %, keep rate outside its 90 % interval in ${outside} of ${cases}`,
      );
      expect(worst.snr).toBeLessThan(0.05);
      expect(worst.fwhm).toBeLessThan(0.03);
      // 32 cases of a 90 % interval: more than 6 outside happen by chance once in 28 times.
      expect(cases).toBe(32);
      expect(outside).toBeLessThanOrEqual(6);
    },
  );

  it("without a read noise to save, long subs bring nothing but fewer pauses", () => {
    const sky = { skyEPerS: 8, readE: 1.6, gustsPerH: 0, driftPxPerS: 0 };
    const table = gradeNight(tableOf(5, sky, 1)).table;
    const [one, two] = longerSubs(table, rowsOf(table), [2]);
    expect(one!.snrPerClock).toBe(1);
    // 5 of 7 s against 10 of 12 s: sqrt(0.8333 / 0.7143) = 1.080.
    expect(Math.abs(two!.snrPerClock - 1.08)).toBeLessThan(0.005);
    expect(two!.filesPerHour).toBeCloseTo(300, 6);
    expect(longerSubs(table, [], [2])).toEqual([]);
  });
});

describe("noise model from the subs", () => {
  const sky = { skyEPerS: 2, readE: 1.6, gustsPerH: 0, driftPxPerS: 0 };
  const table = tableOf(10, sky, 5);

  it("with e-/ADU and read noise: the background's rate, without a pedestal", () => {
    const [model] = noiseModels(table, { electronsPerAdu: gain, readNoiseE: 1.6 });
    expect(Math.abs(model!.backgroundEPerS / 2 - 1)).toBeLessThan(0.01);
    // R^2 / (R^2 + F t) = 2.56 / 22.56; tau = 2.56 / 2 s.
    expect(Math.abs(model!.readShare - 0.11348)).toBeLessThan(0.002);
    expect(Math.abs(model!.readTimeS - 1.28)).toBeLessThan(0.03);
    expect(model!.missing).toEqual([]);
  });

  it("with e-/ADU and pedestal: the read noise as well, from level against variance", () => {
    const [model] = noiseModels(table, { electronsPerAdu: gain, pedestalAdu: pedestal });
    expect(model!.readNoiseE!.from).toBe("photon-transfer");
    expect(Math.abs(model!.readNoiseE!.value / 1.6 - 1)).toBeLessThan(0.03);
  });

  it("from two lengths alone: pedestal and read share, without e-/ADU", () => {
    const both = fromRows(
      [10, 30].flatMap((subS) => {
        const one = tableOf(subS, sky, 5);
        return rowsOf(one)
          .filter((row) => row % 4 === 0)
          .map((row) => rowAt(one, row));
      }),
    );
    const [model] = noiseModels(both);
    expect(model!.electronsPerAdu).toBeNull();
    expect(Math.abs(model!.pedestalAdu!.value - pedestal)).toBeLessThan(0.5);
    expect(Math.abs(model!.readTimeS / 1.28 - 1)).toBeLessThan(0.15);
    expect(model!.backgroundEPerS).toBeNaN();
  });

  it("e-/ADU from a sky that changed, and bias frames", () => {
    const changing = fromRows(
      [...Array(200).keys()].map((i) => {
        const e = 20 * (1 + i / 100);
        return {
          ...rowAt(table, 0),
          backgroundAdu: pedestal + e / gain,
          noiseAdu: Math.sqrt((e + 2.56) / gain ** 2) * (1 + 0.01 * Math.sin(i * 7)),
        };
      }),
    );
    const [model] = noiseModels(changing);
    expect(model!.electronsPerAdu!.from).toBe("photon-transfer");
    expect(Math.abs(model!.electronsPerAdu!.value / gain - 1)).toBeLessThan(0.03);
    const withBias = fromRows([
      ...rowsOf(table).map((row) => rowAt(table, row)),
      ...[1, 2, 3].map(() => ({
        kind: "bias",
        gainSetting: 100,
        width: 1920,
        noiseAdu: 1.6 / gain,
        backgroundAdu: pedestal,
      })),
    ]);
    const [biased] = noiseModels(withBias);
    expect(biased!.pedestalAdu).toEqual({ value: pedestal, from: "bias-frames" });
    expect(Math.abs(biased!.readTimeS - 1.28)).toBeLessThan(0.03);
  });

  it("says what is missing", () => {
    expect(noiseModels(table)[0]!.missing).toEqual(["electrons-per-adu", "read-noise"]);
    expect(noiseModels(table, { electronsPerAdu: gain })[0]!.missing).toEqual(["read-noise"]);
    expect(noiseModels(fromRows([]))).toEqual([]);
  });

  it("dark current is moved to the sensor's temperature", () => {
    const [model] = noiseModels(table, { electronsPerAdu: gain, readNoiseE: 1.6, darkEPerS: 0.2, darkAtC: 1.3 });
    expect(model!.darkEPerS!.value).toBeCloseTo(0.1, 9);
    expect(model!.skyEPerS).toBeCloseTo(model!.backgroundEPerS - 0.1, 9);
  });
});

describe("advice", () => {
  const usual = {
    presentS: 10,
    readTimeS: 1.28,
    overheadS: 2,
    lossPerS: 12 / 3600,
    rotationBlurPx: 0.2,
    fwhmPx: 3,
    width: 1920,
    height: 1080,
    hoursPerNight: 8,
  };
  const to = (change: object) => subLengthAdvice({ ...usual, ...change });

  it("each end has its reason", () => {
    const advice = to({});
    expect(advice.low[0]!.reason).toBe("read-noise");
    // 1.28 s x 9.7561 (5 % of noise).
    expect(advice.low[0]!.subS).toBeCloseTo(12.488, 2);
    expect(advice.high.map(({ reason }) => reason)).toContain("field-rotation");
    expect(advice.high.find(({ reason }) => reason === "field-rotation")!.subS).toBeCloseTo(50, 9);
    expect(advice.conflict).toBe(false);
    expect(advice.presentLoss).toBeGreaterThan(0);
    expect(advice.missing).toEqual([]);
  });

  it("changes as it must with sky, read noise, rotation, events and card", () => {
    expect(to({ readTimeS: 0.3 }).fromS).toBeLessThan(to({}).fromS);
    expect(to({ readTimeS: 10 }).fromS).toBeGreaterThan(to({}).fromS);
    expect(to({ rotationBlurPx: 0.5 }).high[0]).toMatchObject({ reason: "field-rotation", subS: 20 });
    expect(to({ lossPerS: 0.1 }).toS).toBeLessThan(to({}).toS);
    // 4 GB hold 963 files of 4152960 bytes: 8 h / 963 - 2 s = 27.9 s.
    const small = to({ freeBytes: 4e9 });
    expect(small.low[0]!.reason).toBe("card-space");
    expect(Math.abs(small.fromS - 27.9)).toBeLessThan(0.1);
    expect(to({ saturatedFraction: 0.002 }).high[0]).toMatchObject({ reason: "saturation", subS: 5 });
    expect(to({ driftPxPerS: 0.15 }).high[0]).toMatchObject({ reason: "drift", subS: 10 });
  });

  it("where the ends cross the cap wins, and it says so", () => {
    const advice = to({ readTimeS: 60, rotationBlurPx: 0.5 });
    expect(advice.conflict).toBe(true);
    expect(advice.fromS).toBe(advice.toS);
  });

  it("what is not known sets no end", () => {
    const advice = subLengthAdvice({ presentS: 10, readTimeS: Number.NaN, overheadS: Number.NaN });
    expect(advice).toMatchObject({ low: [], high: [], conflict: false });
    expect(advice.missing).toEqual(["read-noise", "overhead", "rotation", "events"]);
    expect(() => subLengthAdvice({ presentS: 0, readTimeS: 1, overheadS: 1 })).toThrow(/more than 0/);
  });

  it("short events are counted, weather is not", () => {
    const verdict = "kkkkdkkkkddkkkddddddddkkkkdkkk".split("").map((v) => (v === "k" ? "keep" : "drop"));
    const night = fromRows(
      verdict.map((v, i) => ({
        kind: "light",
        verdict: v,
        exposureS: 10,
        startUtc: new Date(Date.UTC(2026, 0, 1) + i * 12_000).toISOString(),
      })),
    );
    const loss = lossRate(night, rowsOf(night));
    // Runs of 1, 2 and 1; 18 kept subs and 4 lost to them were watched.
    expect(loss.events).toBe(3);
    expect(loss.exposureS).toBe(220);
    expect(loss.lowPerS).toBeLessThan(loss.perS);
  });
});

function rowAt(table: FrameTable, row: number): Partial<FrameRow> {
  return Object.fromEntries(
    Object.entries(table).flatMap(([name, column]) =>
      name === "rows" ? [] : [[name, (column as ArrayLike<unknown>)[row]]],
    ),
  ) as Partial<FrameRow>;
}
