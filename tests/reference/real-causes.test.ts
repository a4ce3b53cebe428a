// What a real night proves: 67 consecutive frames of 2019-03-26 (../shared/data/sky/lowell-5945). Its README says what
// happened, from the frames and from astropy: dusk at the start (background 8790 ADU at Sun -10.6 deg, 2730 later), the
// Moon from 07:05 UT on (up to 5770 ADU), airmass 1.01 to 1.98, no cloud, focus never changed; the sensor stood at -102 to
// -104 deg C, where a CCD has no dark current that could show.
import { describe, expect, it } from "vitest";
import { adviceOf } from "../../src/explain/advice.js";
import { causesOf } from "../../src/explain/causes.js";
import { driversOf } from "../../src/explain/drivers.js";
import type { LawCheck } from "../../src/explain/drivers-terms.js";
import { episodesOf } from "../../src/explain/episodes.js";
import { sensorOf } from "../../src/explain/sensor.js";
import { triageNight } from "../../src/night.js";
import { driverLines } from "../../src/show/causes-words.js";
import { withColumns } from "../../src/terms/frame-table.js";
import { hasShared, sharedPath, withoutShared } from "./shared-data.js";

const night = hasShared ? triageNight([sharedPath("data/sky/lowell-5945")]) : null;

describe.skipIf(!hasShared)(`drivers of a real night${hasShared ? "" : ` (${withoutShared})`}`, () => {
  it("are twilight and Moon for the background and airmass for the width, not the sensor's temperature", async () => {
    const { table } = await night!;
    const drivers = driversOf(table);
    console.log(driverLines(drivers).join("\n"));
    const claimed = drivers.laws.filter((law) => law.claimed);
    const of = (law: LawCheck["law"]) => claimed.find((check) => check.law === law)!;
    expect(claimed.map(({ law, metric }) => `${metric} by ${law}`).sort()).toEqual([
      "background by moonlight",
      "background by twilight",
      "fwhm by airmass",
    ]);
    // README: 8790 less 2730 ADU at dusk; 5770 less 2730 with the Moon, of which the dark sky's own rise towards airmass 2
    // (Garstang 1989, Patat 2003: less than a half of 1100 ADU of sky) is no moonlight.
    expect(of("twilight").estimate).toBeGreaterThan(0.95 * (8790 - 2730));
    expect(of("twilight").estimate).toBeLessThan(1.05 * (8790 - 2730));
    expect(of("moonlight").estimate).toBeLessThan(1.05 * (5770 - 2730));
    expect(of("moonlight").estimate).toBeGreaterThan(5770 - 2730 - 550);
    // Kolmogorov: 0.6, within the interval; 0 is not.
    const { interval } = of("airmass");
    expect(interval.low).toBeGreaterThan(0);
    expect(interval.low).toBeLessThan(0.6);
    expect(interval.high).toBeGreaterThan(0.6);
    expect(drivers.outcomes.filter((o) => o.factors.some(({ code }) => code === "sensor-temperature"))).toEqual([]);
    expect(sensorOf(table).groups.every(({ darkNoise }) => darkNoise === null)).toBe(true);
    // It was asked about: 1.9 deg C are more than the 0.5 that count as a change.
    expect(drivers.design.factors.map(({ factor }) => factor.code)).toContain("sensor-temperature");
  });

  it("vanish from frames whose backgrounds are laid the other way round", async () => {
    // A check that these claims can fail: the same numbers against the sky of the wrong end of the night.
    const { table } = await night!;
    const turned = (values: ArrayLike<number>) => Array.from(values).reverse();
    const { laws } = driversOf(
      withColumns(table, {
        backgroundAdu: turned(table.backgroundAdu),
        noiseAdu: turned(table.noiseAdu),
        fwhmPx: turned(table.fwhmPx),
      }),
    );
    expect(laws.filter(({ claimed }) => claimed)).toEqual([]);
  });

  it("make causes, episodes and advice of dusk, altitude and Moon; cloud, focus, dew and sensor are not named", async () => {
    const { table, symptomsOfRow } = await night!;
    const { causeOfRow, table: explained } = causesOf(table, symptomsOfRow);
    expect(explained.cause[0]).toBe("twilight");
    const dropped = Array.from({ length: table.rows }, (_, row) => row).filter((row) => table.verdict[row] === "drop");
    expect(dropped.length).toBeGreaterThan(5);
    for (const row of dropped) expect(["twilight", "low-altitude", "moonlight"]).toContain(explained.cause[row]);
    // The last ten: the Moon is one of the two likeliest causes.
    for (const cause of causeOfRow.slice(-10))
      expect(
        cause!.ranked
          .slice(0, 2)
          .map((r) => r.cause)
          .sort(),
      ).toEqual(["low-altitude", "moonlight"]);
    const episodes = episodesOf(explained, causeOfRow);
    const advice = adviceOf(explained, causeOfRow);
    console.log(episodes.map(({ cause, rows, rival }) => `${cause}: ${rows.length}, else ${rival?.cause}`).join("; "));
    expect(episodes[0]!.cause).toBe("twilight");
    expect(advice.length).toBeLessThanOrEqual(5);
    expect(advice.map(({ reason }) => reason.kind)).toContain("start-later");
  });
});
