// Nights made directly as tables, with known effects or none: what is claimed, what is not, and how good the intervals are.
// Every day few nights, with limits that chance seldom passes; DRIVERS_NIGHTS=200 tries 200 null nights and 100 of each
// other kind against the limits that are promised, DRIVERS_SEED=9001 nights from another seed on. The method was tuned on
// seeds from 1, 310001, 610001, 620001, 710001 and 910001 to 970001 on; reported are others.
import { describe, expect, it } from "vitest";
import { driversOf } from "../../src/explain/drivers.js";
import { nightRowsOf } from "../../src/explain/drivers-nights.js";
import { equalAltitudePairs } from "../../src/explain/drivers-pairs.js";
import type { DriverTest, FactorCode } from "../../src/explain/drivers-terms.js";
import { randomStream } from "../../src/numbers/random.js";
import { frameTable, fromRows, selectRows, withColumns } from "../../src/terms/frame-table.js";
import { tableNight } from "./drivers-nights.js";

const names = (test: DriverTest) => test.factors.map(({ code }) => code).join("+");
const firstSeed = Number(process.env.DRIVERS_SEED ?? 1);
const nightsTried = Number(process.env.DRIVERS_NIGHTS ?? 60);
const many = nightsTried >= 200;
const seedsTried = many ? 100 : 20;
/** Seeds from which on each kind of night is made. */
const seedsFrom = (from: number) => Array.from({ length: seedsTried }, (_, i) => from + i);

it("null nights: something is claimed in 3 to 7 % of 200, and 90 % intervals hold 0 in 87 to 93 %", () => {
  let claimed = 0;
  let uncorrected = 0;
  const cover: Record<string, [number, number]> = {};
  for (let i = 0; i < nightsTried; i++) {
    const subs = 80 + ((i * 37) % 160);
    const { outcomes, tests } = driversOf(
      tableNight(firstSeed + i, { subs, path: i % 4 === 3 ? "sinking" : "transit" }),
    );
    claimed += Number(outcomes.length > 0);
    uncorrected += Number(tests.some(({ effect }) => effect.p <= 0.05));
    for (const { metric, effect } of tests) {
      const kind = metric === "rejects" ? "rejects" : "continuous";
      cover[kind] ??= [0, 0];
      cover[kind][0] += Number(effect.interval.low <= 0 && effect.interval.high >= 0);
      cover[kind][1]++;
    }
  }
  const share = (kind: string) => (100 * cover[kind][0]) / cover[kind][1];
  const all = (100 * (cover.rejects[0] + cover.continuous[0])) / (cover.rejects[1] + cover.continuous[1]);
  console.log(
    `null nights: claimed in ${claimed} of ${nightsTried} (some test below 0.05 uncorrected in ${uncorrected}); ` +
      `90 % intervals hold 0: continuous ${share("continuous").toFixed(1)} %, rejects ${share("rejects").toFixed(1)} %`,
  );
  // Of 60 nights at a rate of 5 %, more than 7 come up in 1 % of runs, and none in 5 %: only the many have a lower limit.
  expect(claimed / nightsTried).toBeGreaterThanOrEqual(many ? 0.03 : 0);
  expect(claimed / nightsTried).toBeLessThanOrEqual(many ? 0.07 : 0.12);
  expect(all).toBeGreaterThanOrEqual(many ? 87 : 85);
  expect(all).toBeLessThanOrEqual(many ? 93 : 95);
});

describe("altitude and temperature", () => {
  it("that move together cannot be separated", () => {
    let right = 0;
    for (const seed of seedsFrom(firstSeed - 1)) {
      const night = tableNight(seed, {
        subs: 150,
        path: "sinking",
        noise: { rho: 0.5, share: 0.8 },
        fwhmPer10Deg: -0.06,
      });
      const { design, outcomes } = driversOf(night, { seed });
      const single = outcomes.some((o) => o.metric === "fwhm" && o.kind === "finding");
      const said = outcomes.some(
        (o) => o.metric === "fwhm" && o.kind === "cannot-be-separated" && names(o) === "altitude+sensor-temperature",
      );
      const [pair] = design.inseparable.filter((p) => p.factors.every(({ code }) => code !== "hour"));
      right += Number(said && !single && pair?.separatedBy === "follow-through-transit");
    }
    console.log(`confounded: said so on ${right} of ${seedsTried} nights`);
    expect(right / seedsTried).toBeGreaterThanOrEqual(many ? 0.95 : 0.85);
  });
  it.each([
    ["sensor-temperature", { fwhmPerC: -0.03 }],
    ["altitude", { fwhmPer10Deg: -0.06 }],
  ] as [FactorCode, object][])("through transit, the true one is named: %s", (truth, effect) => {
    let right = 0;
    let covered = 0;
    let [paired, pairedCovered] = [0, 0];
    const expected = Object.values(effect)[0];
    for (const seed of seedsFrom(firstSeed - 1)) {
      const night = tableNight(seed, { subs: 150, path: "transit", noise: { rho: 0.5, share: 0.8 }, ...effect });
      const { outcomes, tests } = driversOf(night, { seed });
      const named = outcomes.filter((o) => o.metric === "fwhm" && names(o).match(/altitude|sensor/)).map(names);
      right += Number(named.length === 1 && named[0] === truth);
      const test = tests.find((t) => t.metric === "fwhm" && names(t) === truth);
      const interval = test?.effect.interval;
      covered += Number(interval !== undefined && interval.low <= expected && expected <= interval.high);
      const { interval: held, pairs = 0 } =
        tests.find((t) => t.metric === "fwhm" && names(t) === "sensor-temperature")?.equalAltitude ?? {};
      if (held === undefined) continue;
      paired++;
      const perC = truth === "sensor-temperature" ? expected : 0;
      pairedCovered += Number(pairs >= 40 && held.low <= perC && perC <= held.high);
    }
    console.log(
      `separable by transit, ${truth}: named on ${right} of ${seedsTried} nights; interval holds the truth on ${covered}, ` +
        `that of the temperature at equal altitude on ${pairedCovered} of ${paired}`,
    );
    expect(paired).toBe(seedsTried);
    expect(pairedCovered / paired).toBeGreaterThanOrEqual(many ? 0.82 : 0.7);
    // 20 nights at a rate of 97 %: fewer than 17 come up in 0.3 % of runs; 90 %: fewer than 14 in 0.2 %.
    expect(right / seedsTried).toBeGreaterThanOrEqual(many ? 0.95 : 0.85);
    expect(covered / seedsTried).toBeGreaterThanOrEqual(many ? 0.82 : 0.7);
  });
});

it("a bent course with altitude around a transit that is not central is not laid on the temperature", () => {
  let blamed = 0;
  for (const seed of seedsFrom(firstSeed - 1)) {
    const night = tableNight(seed, { subs: 150, path: "transit", noise: { rho: 0, share: 1 } });
    // The first 45 subs are left out, so that most of the night sinks; below 50 deg stars widen by 2 % a degree.
    const late = selectRows(
      withColumns(night, {
        fwhmPx: Array.from(night.fwhmPx, (v, i) => v * Math.exp(0.02 * Math.max(0, 50 - night.altitudeDeg[i]))),
      }),
      Array.from({ length: 105 }, (_, i) => 45 + i),
    );
    blamed += Number(driversOf(late).outcomes.some((o) => o.metric === "fwhm" && names(o) === "sensor-temperature"));
  }
  console.log(`bent with altitude: temperature blamed on ${blamed} of ${seedsTried} nights`);
  // At a rate of 5 %, more than 4 of 20 come up in 0.3 % of runs.
  expect(blamed).toBeLessThanOrEqual(many ? 5 : 4);
});

it("subs are paired once each, with equal altitudes on both sides of the transit", () => {
  const altitudes = [40, 45, 50, 55, 58, 60, 58.5, 54.6, 50.9, 47, 44.5, 30];
  const table = fromRows(
    altitudes.map((altitudeDeg, i) => ({
      kind: "light",
      target: "A",
      startUtc: new Date(Date.UTC(2025, 9, 20, 20, 5 * i)).toISOString(),
      altitudeDeg,
    })),
  );
  // 58 has 58.5, 55 has 54.6, 50 has 50.9, 45 has 44.5; 47 is 2 deg from the next, 60 is the transit.
  expect(equalAltitudePairs(table, nightRowsOf(table))).toEqual([
    { before: 4, after: 6 },
    { before: 3, after: 7 },
    { before: 2, after: 8 },
    { before: 1, after: 10 },
  ]);
});

it("Simpson's night: the filter that is used low looks worse and is better", () => {
  let [paradox, right, claimed, wrong] = [0, 0, 0, 0];
  const tried = seedsTried;
  for (const seed of seedsFrom(firstSeed - 1).slice(0, tried)) {
    const random = randomStream(seed, "simpson");
    const rows = Array.from({ length: 600 }, (_, i) => {
      const altitudeDeg = 75 - (55 * i) / 600;
      const low = altitudeDeg < 45;
      const filter = random.uniform() < (low ? 0.8 : 0.2) ? "Ha" : "L";
      // Log-odds fall with altitude; the narrowband filter's are lower by 1.2 (odds 0.30).
      const chance = 1 / (1 + Math.exp(-(0.3 - 0.09 * (altitudeDeg - 30) - (filter === "Ha" ? 1.2 : 0))));
      const startUtc = new Date(Date.UTC(2025, 9, 20, 19) + i * 40_000).toISOString();
      const verdict = random.uniform() < chance ? "drop" : "keep";
      return { kind: "light", target: "A", filter, exposureS: 30, gainSetting: 1, startUtc, altitudeDeg, verdict };
    });
    const { filterRates, tests } = driversOf(fromRows(rows), { seed });
    const [ha, l] = ["Ha", "L"].map((f) => filterRates.find(({ filter }) => filter === f));
    if (ha === undefined || l === undefined) continue;
    const found = tests.find((t) => t.metric === "rejects" && t.factors[0].code === "filter");
    if (found === undefined) continue;
    // Of Ha against L, whichever of them is the more used.
    const sign = found.factors[0].filter === "Ha" ? 1 : -1;
    const better = sign * found.effect.estimate < 0;
    paradox += Number(ha.rate > l.rate);
    right += Number(ha.standardisedRate < l.standardisedRate && ha.oddsRatio < 1 && better);
    claimed += Number(found.effect.adjustedP <= 0.05 && better);
    wrong += Number(found.effect.adjustedP <= 0.05 && !better);
  }
  console.log(
    `Simpson: crude rate misleads on ${paradox} of ${tried}; standardised, stratified and modelled all right on ${right}; ` +
      `claimed in the right direction on ${claimed}, in the wrong one on ${wrong}`,
  );
  // The crude rate misleads where chance does not undo it: a check of the nights, not of the code.
  expect(paradox).toBeGreaterThanOrEqual(0.75 * tried);
  expect(right).toBeGreaterThanOrEqual(0.95 * tried);
  expect(claimed).toBeGreaterThanOrEqual(0.8 * tried);
  expect(wrong).toBe(0);
});

it("10,000 subs over 20 nights: the one driver is found; how long it takes is printed (3 s are asked for)", () => {
  const table = tableNight(7, { subs: 500, nights: 20, path: "transit", fwhmPerC: 0.01 });
  const start = process.cpuUsage();
  const { design, outcomes, tests } = driversOf(table);
  const { user, system } = process.cpuUsage(start);
  console.log(
    `10,000 subs: ${((user + system) / 1e6).toFixed(2)} s of processor time, ${tests.length} tests, claimed ${outcomes.map((o) => `${o.metric} by ${names(o)}`)}`,
  );
  expect(design).toMatchObject({ subs: 10_000, nights: 20 });
  expect(outcomes.some((o) => o.metric === "fwhm" && names(o) === "sensor-temperature")).toBe(true);
});

it("says why nothing was tested", () => {
  expect(driversOf(frameTable(0)).because).toBe("too-few-subs");
  const rows = Array.from({ length: 30 }, (_, i) => ({ kind: "light", startUtc: new Date(i * 1000).toISOString() }));
  expect(driversOf(fromRows(rows)).because).toBe("nothing-varies");
});
