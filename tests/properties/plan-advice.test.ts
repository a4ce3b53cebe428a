// Advice on the sub length must turn the right way with everything that it depends on, whatever the rest is.
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { noiseModels } from "../../src/plan/noise-model.js";
import { type SubLengthInput, subLengthAdvice } from "../../src/plan/sub-length.js";
import { cornerBlurPx, rotationRateDegPerH } from "../../src/sky/field-rotation.js";
import { fromRows } from "../../src/terms/frame-table.js";

const between = (min: number, max: number) => fc.double({ min, max, noNaN: true });

/** A camera under a sky, as the noise model sees it. */
const noise = (skyEPerS: number, readNoiseE: number, presentS: number) =>
  noiseModels(
    fromRows(
      [...Array(5)].map(() => ({
        kind: "light",
        verdict: "keep",
        filter: "L",
        exposureS: presentS,
        noiseAdu: Math.sqrt(skyEPerS * presentS + readNoiseE ** 2),
      })),
    ),
    { electronsPerAdu: 1, readNoiseE },
  )[0]!;

interface Case {
  readonly skyEPerS: number;
  readonly readNoiseE: number;
  readonly altitudeDeg: number;
  readonly azimuthDeg: number;
  readonly lossPerS: number;
  readonly freeGb: number;
  readonly presentS: number;
}
const cases: fc.Arbitrary<Case> = fc.record({
  skyEPerS: between(0.05, 30),
  readNoiseE: between(0.7, 10),
  altitudeDeg: between(20, 75),
  azimuthDeg: between(120, 170),
  lossPerS: between(1e-4, 0.02),
  freeGb: between(0.5, 500),
  presentS: fc.constantFrom(5, 10, 20, 30, 60),
});

function adviceFor(
  { skyEPerS, readNoiseE, altitudeDeg, azimuthDeg, lossPerS, freeGb, presentS }: Case,
  more: Partial<SubLengthInput> = {},
) {
  const { readTimeS } = noise(skyEPerS, readNoiseE, presentS);
  return subLengthAdvice({
    presentS,
    readTimeS,
    overheadS: 2,
    lossPerS,
    rotationBlurPx: cornerBlurPx(rotationRateDegPerH(altitudeDeg, azimuthDeg, 50), presentS, 1920, 1080),
    fwhmPx: 3,
    width: 1920,
    height: 1080,
    freeBytes: freeGb * 1e9,
    hoursPerNight: 8,
    ...more,
  });
}
const end = (advice: ReturnType<typeof adviceFor>, reason: string) =>
  [...advice.low, ...advice.high].find((one) => one.reason === reason)!.subS;

describe("advice on the sub length", () => {
  it("a brighter sky allows shorter subs, more read noise asks for longer ones: as read noise^2 / sky", () => {
    fc.assert(
      fc.property(cases, between(1.1, 5), (one, factor) => {
        const now = end(adviceFor(one), "read-noise");
        expect(now / end(adviceFor({ ...one, skyEPerS: one.skyEPerS * factor }), "read-noise")).toBeCloseTo(factor, 6);
        const noisier = end(adviceFor({ ...one, readNoiseE: one.readNoiseE * factor }), "read-noise");
        expect(noisier / now).toBeCloseTo(factor ** 2, 6);
      }),
    );
  });

  it("field rotation: the nearer to the zenith and to the meridian, the shorter; none without it", () => {
    fc.assert(
      fc.property(cases, between(1, 10), (one, byDeg) => {
        const now = end(adviceFor(one), "field-rotation");
        expect(end(adviceFor({ ...one, altitudeDeg: one.altitudeDeg + byDeg }), "field-rotation")).toBeLessThan(now);
        expect(end(adviceFor({ ...one, azimuthDeg: one.azimuthDeg + byDeg }), "field-rotation")).toBeLessThan(now);
        const still = adviceFor(one, { rotationBlurPx: 0 });
        expect(still.high.some(({ reason }) => reason === "field-rotation")).toBe(false);
        // At the end itself the corner is blurred by the pixel that is accepted.
        const rate = rotationRateDegPerH(one.altitudeDeg, one.azimuthDeg, 50);
        expect(cornerBlurPx(rate, now, 1920, 1080)).toBeCloseTo(1, 6);
      }),
    );
  });

  it("more events ask for shorter subs, a smaller card for longer ones", () => {
    fc.assert(
      fc.property(cases, between(1.2, 5), (one, factor) => {
        const now = adviceFor(one);
        const windier = adviceFor({ ...one, lossPerS: one.lossPerS * factor });
        expect(end(windier, "events")).toBeLessThan(end(now, "events"));
        expect(windier.bestS).toBeLessThan(now.bestS);
        expect(windier.presentCosts.events).toBeGreaterThan(now.presentCosts.events);
        const smaller = adviceFor({ ...one, freeGb: one.freeGb / factor });
        expect(end(smaller, "card-space")).toBeGreaterThanOrEqual(end(now, "card-space"));
        // The night fits at the length that is named, and one file more would not be saved by a tenth of a second less.
        const files = Math.floor((one.freeGb * 1e9) / 4_155_840);
        const takes = end(now, "card-space");
        if (takes > 0.1) expect(Math.abs((8 * 3600) / (takes + 2) / files - 1)).toBeLessThan(0.01);
      }),
    );
  });

  it("names a reason for each end, keeps its order, and no allowed length is better than the best it compares with", () => {
    fc.assert(
      fc.property(cases, (one) => {
        const advice = adviceFor(one);
        const { low, high, fromS, toS, conflict, presentLoss, presentCosts, present, curve } = advice;
        expect(low[0]!.subS).toBe(Math.max(...low.map(({ subS }) => subS)));
        expect(high[0]!.subS).toBe(Math.min(...high.map(({ subS }) => subS)));
        expect(fromS).toBeLessThanOrEqual(toS);
        expect(conflict).toBe(low[0]!.subS > high[0]!.subS);
        expect(presentLoss).toBeGreaterThanOrEqual(0);
        expect(presentLoss).toBeLessThan(1);
        if (presentLoss > 0) {
          const best = present.efficiency / (1 - presentLoss);
          for (const { subS, efficiency } of curve.filter((point) => point.subS <= toS))
            expect(efficiency, `${subS} s`).toBeLessThanOrEqual(best * (1 + 1e-6));
        }
        // The three costs together are what the present length loses against a camera without any.
        const { readNoise, pauses, events } = presentCosts;
        expect((1 - readNoise) * (1 - pauses) * (1 - events)).toBeCloseTo(present.efficiency, 9);
      }),
    );
  });

  it("ranges surround the ends they belong to", () => {
    fc.assert(
      fc.property(cases, between(1.05, 3), (one, factor) => {
        const { readTimeS } = noise(one.skyEPerS, one.readNoiseE, one.presentS);
        const range = (value: number) => ({ low: value / factor, high: value * factor });
        const advice = adviceFor(one, { readTimeRangeS: range(readTimeS), lossRangePerS: range(one.lossPerS) });
        for (const { subS, rangeS, reason } of [...advice.low, ...advice.high])
          if (reason === "read-noise" || reason === "events") {
            expect(rangeS!.low).toBeLessThan(subS);
            expect(rangeS!.high).toBeGreaterThan(subS);
          } else expect(rangeS).toBeNull();
        // No event seen: where the end may lie is known on one side only.
        const calm = adviceFor(one, { lossPerS: one.lossPerS, lossRangePerS: { low: 0, high: one.lossPerS * 2 } });
        expect(calm.high.find(({ reason }) => reason === "events")!.rangeS!.high).toBe(Number.POSITIVE_INFINITY);
      }),
    );
  });
});
