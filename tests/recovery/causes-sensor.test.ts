// Dark noise against the sensor's temperature, on tables whose truth is known: the doubling interval with its error, and what
// cooling would have saved. Every day 60 nights; SENSOR_NIGHTS=300 SENSOR_SEED=7001 tries others.
import { expect, it } from "vitest";
import { sensorOf } from "../../src/explain/sensor.js";
import { randomStream } from "../../src/numbers/random.js";
import { fromRows } from "../../src/terms/frame-table.js";

const nights = Number(process.env.SENSOR_NIGHTS ?? 60);
const firstSeed = Number(process.env.SENSOR_SEED ?? 4001);

/** 120 subs of 60 s while the sensor cools with the air from 24 to 10 deg C. */
function warmNight(seed: number) {
  const random = randomStream(seed, "warm night");
  const doublingC = random.between(5, 8);
  const [sky, darkAt20] = [random.between(80, 160), random.between(60, 150)];
  const dark = (c: number) => darkAt20 * 2 ** ((c - 20) / doublingC);
  let savedS = 0;
  const rows = Array.from({ length: 120 }, (_, i) => {
    const sensorTempC = Math.round((24 - (14 * i) / 119 + 0.1 * random.normal()) * 10) / 10;
    const variance = sky + dark(sensorTempC);
    // Effective exposure goes with one over the variance, 60 s for the quietest sub; cooled to 0 deg C the same sky would be quieter.
    const effectiveExposureS = (60 * (sky + dark(10))) / variance;
    savedS += effectiveExposureS * (variance / (sky + dark(0)) - 1);
    return {
      file: `${i}.fits`,
      kind: "light",
      target: "T",
      filter: "L",
      exposureS: 60,
      gainSetting: 100,
      startUtc: new Date(Date.UTC(2025, 6, 1, 20) + i * 120_000).toISOString(),
      width: 1000,
      height: 800,
      sensorTempC,
      backgroundAdu: 500,
      // A background of a million pixels gives its noise to 0.1 %; seeing, stars and clipping make it 1 %.
      noiseAdu: Math.sqrt(variance) * (1 + 0.01 * random.normal()),
      hotPixels: Math.round(400 * 2 ** ((sensorTempC - 20) / doublingC) * (1 + 0.05 * random.normal())),
      starCount: 200,
      fwhmPx: 3,
      eccentricity: 0.3,
      transparency: 1,
      effectiveExposureS,
      verdict: "keep",
    };
  });
  return { table: fromRows(rows), doublingC, savedS };
}

it("the doubling interval comes with an error that fits, and with what cooling to 0 deg C would have saved", () => {
  let [known, within1, within2, savedWithin2, hot] = [0, 0, 0, 0, 0];
  const ratios: number[] = [];
  for (let seed = firstSeed; seed < firstSeed + nights; seed++) {
    const { table, doublingC, savedS } = warmNight(seed);
    const [{ darkNoise, hotPixels, coolingSavesS, coolingSavesErrorS }] = sensorOf(table, { coolC: 0 }).groups as [
      ReturnType<typeof sensorOf>["groups"][number],
    ];
    hot += Number(hotPixels !== null && Math.abs(hotPixels.intervalC - doublingC) < 3 * hotPixels.errorC);
    if (darkNoise === null) continue;
    known++;
    const off = Math.abs(darkNoise.intervalC - doublingC) / darkNoise.errorC;
    within1 += Number(off < 1);
    within2 += Number(off < 2);
    ratios.push(coolingSavesS / savedS);
    savedWithin2 += Number(Math.abs(coolingSavesS - savedS) < 2 * coolingSavesErrorS);
  }
  ratios.sort((a, b) => a - b);
  const at = (share: number) => ratios[Math.floor(share * (ratios.length - 1))]!;
  console.log(
    `doubling interval found on ${known} of ${nights}, within 1 error on ${within1}, within 2 on ${within2}; hot pixels within 3 errors on ${hot}; ` +
      `saved by cooling, against the truth: ${at(0.05).toFixed(3)} to ${at(0.95).toFixed(3)}, median ${at(0.5).toFixed(3)}, within 2 errors on ${savedWithin2}`,
  );
  expect(known).toBeGreaterThan(0.95 * nights);
  // 68 and 95 % of a normal error; 50 and 85 % leave room for 60 nights.
  expect(within1 / known).toBeGreaterThan(0.5);
  expect(within2 / known).toBeGreaterThan(0.85);
  expect(hot).toBeGreaterThan(0.95 * nights);
  expect(savedWithin2 / known).toBeGreaterThan(0.85);
  expect(Math.abs(at(0.5) - 1)).toBeLessThan(0.03);
  expect(at(0.05)).toBeGreaterThan(0.8);
  expect(at(0.95)).toBeLessThan(1.25);
});

it("says nothing of the sensor when its temperature does not show", () => {
  let told = 0;
  for (let seed = firstSeed; seed < firstSeed + nights; seed++) {
    const random = randomStream(seed, "no dark current");
    const { table } = warmNight(seed);
    const noiseAdu = Float64Array.from(table.noiseAdu, () => 12 * (1 + 0.01 * random.normal()));
    const hotPixels = Float64Array.from(table.noiseAdu, () => Math.round(400 * (1 + 0.05 * random.normal())));
    const [group] = sensorOf({ ...table, noiseAdu, hotPixels }, { coolC: 0 }).groups;
    told += Number(group!.darkNoise !== null || group!.hotPixels !== null || Number.isFinite(group!.coolingSavesS));
  }
  console.log(`a doubling told where there is none: ${told} of ${nights}`);
  expect(told / nights).toBeLessThanOrEqual(0.05);
});

/** A night's temperatures, one a minute of 480, as subs of 60 s. */
function temperatureNight(temperatureAt: (minute: number) => number) {
  return fromRows(
    Array.from({ length: 480 }, (_, minute) => ({
      kind: "light",
      target: "T",
      filter: "L",
      exposureS: 60,
      startUtc: new Date(Date.UTC(2025, 6, 1, 20, minute)).toISOString(),
      sensorTempC: Math.round(10 * temperatureAt(minute)) / 10,
    })),
  );
}

it("warm-up and fan-off are told with their times, and an uncooled sensor in air that levels off has neither", () => {
  let [right, wrong] = [0, 0];
  const offBy: number[] = [];
  for (let seed = firstSeed; seed < firstSeed + nights; seed++) {
    const random = randomStream(seed, "cooled night");
    const [set, air, tau] = [random.between(-15, 0), random.between(8, 20), random.between(5, 10)];
    const [off, lasts, warming] = [random.between(150, 250), random.between(20, 90), random.between(8, 25)];
    const noise = () => 0.1 * random.normal();
    // From the air's temperature down to the set point; then the fan stops, and works again.
    const warmed = (minute: number) =>
      minute < off
        ? (air - set) * Math.exp(-minute / tau)
        : minute < off + lasts
          ? (air - set) * (1 - Math.exp(-(minute - off) / warming))
          : (air - set) * (1 - Math.exp(-lasts / warming)) * Math.exp(-(minute - off - lasts) / tau);
    const { episodes } = sensorOf(temperatureNight((minute) => set + warmed(minute) + noise()));
    const truth = Array.from({ length: 480 }, (_, minute) => minute).filter((minute) => warmed(minute) > 2);
    const expected = [truth.filter((m) => m < off), truth.filter((m) => m >= off)];
    const minuteOf = (utc: string) => (Date.parse(utc) - Date.UTC(2025, 6, 1, 20)) / 60_000;
    right += Number(episodes.map(({ kind }) => kind).join() === "warm-up,fan-off");
    episodes.slice(0, 2).forEach(({ startUtc, endUtc }, i) => {
      offBy.push(Math.abs(minuteOf(startUtc) - expected[i]![0]!), Math.abs(minuteOf(endUtc) - expected[i]!.at(-1)!));
    });
    const levels = random.between(60, 180);
    let gust = 0;
    const uncooled = temperatureNight((minute) => {
      gust = 0.95 * gust + 0.06 * random.normal();
      return air + 14 * Math.exp(-minute / levels) + gust + noise();
    });
    wrong += Number(sensorOf(uncooled).episodes.length > 0);
  }
  console.log(
    `warm-up and fan-off both told on ${right} of ${nights}, times off by ${Math.max(...offBy)} min at most; ` +
      `told of an uncooled sensor: ${wrong} of ${nights}`,
  );
  expect(right).toBeGreaterThanOrEqual(0.98 * nights);
  // One sub a minute.
  expect(Math.max(...offBy)).toBeLessThanOrEqual(2);
  expect(wrong).toBeLessThanOrEqual(0.05 * nights);
});
