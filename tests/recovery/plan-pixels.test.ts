// Sub length with pixels: one sky, photographed in subs of 5, 10, 15, 20 and 30 s, each night simulated, measured, matched and
// graded like a user's. What the 5 s and the 10 s subs say of longer ones is compared with the longer nights themselves.
// Everyday one night; NIGHTYIELD_FULL=1 runs them all.
import { describe, expect, it } from "vitest";
import { gradeNight } from "../../src/grade/grade-night.js";
import { median } from "../../src/numbers/quantiles.js";
import { longerSubs } from "../../src/plan/longer-subs.js";
import { lossRate } from "../../src/plan/losses.js";
import { noiseModels } from "../../src/plan/noise-model.js";
import { subLengthAdvice } from "../../src/plan/sub-length.js";
import { parseScenario, type Scenario } from "../../src/simulate/scenario.js";
import { readScenario, simulatedTable } from "./simulated-tables.js";

const full = process.env.NIGHTYIELD_FULL === "1";
const lengths = [5, 10, 15, 20, 30] as const;
const readNoiseE = 1.7;
const electronsPerAdu = 0.8;

interface Sky {
  readonly name: string;
  readonly minutes: number;
  readonly readOutS: number;
  readonly filter: object;
  /** Knocks in the whole span: each doubles the stars of one sub. */
  readonly bumps: number;
  readonly driftPxPerMin: number;
  readonly mount: "alt-azimuth" | "equatorial";
  readonly ditherPx: number;
  readonly starsPerDeg2AtMag12: number;
  readonly seed: number;
  readonly events?: readonly object[];
}

const broad = { kind: "broadband", widthNm: 240 };
const narrow = { kind: "narrowband", widthNm: 7, townLight: 0.7, extinctionFactor: 0.7 };
const quiet = {
  minutes: 40,
  readOutS: 2,
  filter: broad,
  bumps: 0,
  driftPxPerMin: 0,
  mount: "equatorial",
  ditherPx: 0,
  starsPerDeg2AtMag12: 250,
} as const;
const skies: readonly Sky[] = [
  {
    ...quiet,
    name: "town sky, knocks, alt-azimuth",
    bumps: 14,
    mount: "alt-azimuth",
    driftPxPerMin: 2,
    ditherPx: 4,
    seed: 21,
  },
  { ...quiet, name: "narrow filter", filter: narrow, starsPerDeg2AtMag12: 900, bumps: 5, ditherPx: 4, seed: 22 },
  { ...quiet, name: "drift", driftPxPerMin: 6, seed: 23 },
  {
    ...quiet,
    name: "cloud and satellites",
    bumps: 8,
    events: [
      { kind: "cloud", fromMin: 12, toMin: 24, riseMin: 3, fallMin: 3, dimmingMag: 1.2, patchiness: 0.3 },
      { kind: "satellites", perHour: 30 },
    ],
    seed: 24,
  },
];

/** Short, and without knocks: a few of them in a few subs would leave the keep rate, and with it the depth, to chance. */
const everyday: Sky = {
  ...quiet,
  name: "everyday: drift, alt-azimuth",
  minutes: 9,
  mount: "alt-azimuth",
  driftPxPerMin: 5,
  ditherPx: 4,
  seed: 25,
};

function scenarioOf(sky: Sky, subS: number): Scenario {
  const plain = readScenario("dusk");
  // Knocks to and fro, at instants that belong to the sky and not to the subs.
  const knocks = Array.from({ length: sky.bumps }, (_, i) => ({
    kind: "bump",
    atMin: ((i + 0.5 + 0.35 * Math.sin(3 * i + sky.seed)) * sky.minutes) / sky.bumps,
    shiftPx: 10,
    angleDeg: i % 2 === 0 ? 25 : 205,
  }));
  // The field runs away and is centred again every five minutes.
  const drift = Array.from({ length: sky.driftPxPerMin > 0 ? Math.ceil(sky.minutes / 5) : 0 }, (_, i) => ({
    kind: "tracking-drift",
    fromMin: 5 * i,
    toMin: 5 * i + 5,
    pxPerMin: sky.driftPxPerMin,
    angleDeg: 70,
  }));
  return parseScenario(
    JSON.stringify({
      ...plain,
      camera: { ...plain.camera, width: 224, height: 168 },
      telescope: { ...plain.telescope, mount: sky.mount, ditherPx: sky.ditherPx, ditherEvery: Math.round(60 / subS) },
      filters: { F: sky.filter },
      targets: {
        "NGC 281": {
          ...plain.targets["NGC 281"],
          starsPerDeg2AtMag12: sky.starsPerDeg2AtMag12,
          glow: { kind: "none" },
        },
      },
      nights: [
        {
          ...plain.nights[0],
          startUtc: "2025-10-20T20:00:00Z",
          readOutS: sky.readOutS,
          air: { ...plain.nights[0]!.air, seeingWander: 0.1, seeingWanderMin: 12 },
          blocks: [
            {
              target: "NGC 281",
              filter: "F",
              exposureS: subS,
              frames: Math.floor((sky.minutes * 60) / (subS + sky.readOutS)),
            },
          ],
          events: [...knocks, ...drift, ...(sky.events ?? [])],
        },
      ],
    }),
    sky.name,
  );
}

/** A night of one length as a user would have it, and what it brought: light and noise as they are. */
async function nightOf(sky: Sky, subS: number) {
  const scenario = scenarioOf(sky, subS);
  const measured = await simulatedTable(scenario, { seed: sky.seed });
  const { table } = gradeNight(measured.table, measured);
  const rows = Array.from({ length: table.rows }, (_, row) => row);
  const kept = rows.filter((row) => table.verdict[row] !== "drop");
  const magPerAirmass = scenario.site.extinctionMag * scenario.filters.F!.extinctionFactor;
  // Starlight from the scenario's truth, so that nights of different lengths are on one scale; noise as measured.
  const squares = kept.reduce((sum, row) => {
    const light = measured.truth[row]!.transparency * 10 ** (-0.4 * magPerAirmass * (table.airmass[row]! - 1));
    return sum + ((light * subS) / table.noiseAdu[row]!) ** 2;
  }, 0);
  return {
    table,
    rows,
    snr: Math.sqrt(squares / (table.rows * (subS + sky.readOutS))),
    fwhmPx: median(kept.map((row) => table.fwhmPx[row]!)),
    keepRate: kept.length / table.rows,
  };
}

describe.each(full ? skies : [everyday])("$name", async (sky) => {
  const nights = new Map<number, Awaited<ReturnType<typeof nightOf>>>();
  for (const subS of lengths) nights.set(subS, await nightOf(sky, subS));

  it.each([
    [5, [2, 3, 4, 6]],
    [10, [2, 3]],
  ] as const)("from %i s subs", (fromS, times) => {
    const short = nights.get(fromS)!;
    const predicted = longerSubs(short.table, short.rows, times, { readNoiseAdu: readNoiseE / electronsPerAdu });
    const [noise] = noiseModels(short.table, { electronsPerAdu, readNoiseE });
    const loss = lossRate(short.table, short.rows);
    const advice = subLengthAdvice({
      presentS: fromS,
      readTimeS: noise!.readTimeS,
      overheadS: sky.readOutS,
      lossPerS: loss.perS,
    });
    const efficiency = (subS: number) => advice.curve.find((point) => point.subS === subS)!.efficiency;
    for (const p of predicted) {
      const truth = nights.get(p.exposureS)!;
      const curve = Math.sqrt(efficiency(p.exposureS) / efficiency(fromS));
      console.log(
        `${sky.name}: ${fromS} -> ${p.exposureS} s: SNR/h ${p.snrPerClock.toFixed(3)} (curve ${curve.toFixed(3)}) measured ${(truth.snr / short.snr).toFixed(3)}; FWHM ${p.fwhmPx.toFixed(3)} measured ${truth.fwhmPx.toFixed(3)} px; keep ${p.keepRate.toFixed(3)} [${p.keepInterval.low.toFixed(3)}, ${p.keepInterval.high.toFixed(3)}] measured ${truth.keepRate.toFixed(3)} of ${truth.table.rows}`,
      );
      const relative = truth.snr / short.snr;
      expect(Math.abs(p.snrPerClock / relative - 1), `depth of ${p.exposureS} s`).toBeLessThan(0.05);
      expect(Math.abs(curve / relative - 1), `depth of ${p.exposureS} s by the curve`).toBeLessThan(0.05);
      expect(Math.abs(p.fwhmPx / truth.fwhmPx - 1), `width at ${p.exposureS} s`).toBeLessThan(0.03);
      expect(truth.keepRate, `keep rate at ${p.exposureS} s`).toBeGreaterThanOrEqual(p.keepInterval.low);
      expect(truth.keepRate, `keep rate at ${p.exposureS} s`).toBeLessThanOrEqual(p.keepInterval.high);
    }
  });
});
