// Rise, set and twilight against tables of the U.S. Naval Observatory, PyEphem and astropy; polar cases by geometry.
import { describe, expect, it } from "vitest";
import { moonEvents } from "../../src/sky/moon-events.js";
import type { Site } from "../../src/sky/site.js";
import { sunEvents } from "../../src/sky/twilight.js";
import { toleranceTable } from "./sky-tolerances.js";

const report = toleranceTable("twilight", {
  "Sun, almanac": { unit: "min", max: 1, why: "printed to the minute" },
  "Moon, almanac": { unit: "min", max: 1, why: "printed to the minute" },
  "twilight, PyEphem": { unit: "s", max: 2, why: "the source's own tolerance" },
  "solar noon": { unit: "s", max: 5, why: "the source's own tolerance" },
  "twilight, astropy": { unit: "s", max: 2, why: "printed to 1 s; UT1 - UTC adds 0.2 s" },
  "sunset, astropy": { unit: "s", max: 3, why: "16' for the semidiameter where theirs is the day's: 0.3' are 1.5 s" },
  "Moon rise and set, astropy": { unit: "s", max: 3, why: "printed to 1 s; 18 arcsec of astropy's Moon are 1.5 s" },
});

const at = (event: { readonly utcMs: number | null }) => event.utcMs ?? Number.NaN;
const origin: Site = { latitudeDeg: 0, longitudeDeg: 0, heightM: 0 };
const florida: Site = { latitudeDeg: 29, longitudeDeg: -81, heightM: 0 };

describe("U.S. Naval Observatory tables (read in cosinekitty/astronomy, riseset.txt)", () => {
  const minutes = (ms: number, iso: string) => (ms - Date.parse(iso)) / 60_000;

  it.each([
    [florida, "2019-01-01T12:18Z", "2019-01-01T22:38Z"],
    [florida, "2019-03-20T11:28Z", "2019-03-20T23:35Z"],
    [florida, "2019-06-21T10:26Z", "2019-06-21T00:26Z"],
    [florida, "2019-12-21T12:13Z", "2019-12-21T22:31Z"],
    [{ latitudeDeg: 60, longitudeDeg: 0, heightM: 0 }, "2019-06-21T02:36Z", "2019-06-21T21:28Z"],
    [{ latitudeDeg: 60, longitudeDeg: 0, heightM: 0 }, "2019-12-21T09:02Z", "2019-12-21T14:54Z"],
  ])("Sun at %o: rises %s, sets %s", (site, rise, set) => {
    report.hold("Sun, almanac", minutes(at(sunEvents(Date.parse(rise), site).sunrise), rise));
    report.hold("Sun, almanac", minutes(at(sunEvents(Date.parse(set), site).sunset), set));
  });

  it.each([
    ["2019-01-01T08:12Z", "2019-01-01T19:34Z"],
    ["2019-06-21T03:16Z", "2019-06-21T14:10Z"],
    ["2019-12-21T07:25Z", "2019-12-21T19:17Z"],
  ])("Moon from Florida: rises %s, sets %s", (rise, set) => {
    report.hold("Moon, almanac", minutes(at(moonEvents(Date.parse(rise), florida).moonrise), rise));
    report.hold("Moon, almanac", minutes(at(moonEvents(Date.parse(set), florida).moonset), set));
  });

  it("twilight at Orlando, 2022-06-20 (same source, twilight.txt, origin not stated there)", () => {
    const site = { latitudeDeg: 28.538, longitudeDeg: -81.379, heightM: 0 };
    const morning = sunEvents(Date.parse("2022-06-20T06:00Z"), site);
    const evening = sunEvents(Date.parse("2022-06-21T01:00Z"), site);
    const table = [
      [morning.astronomicalDawn, "2022-06-20T08:54Z"],
      [morning.nauticalDawn, "2022-06-20T09:28Z"],
      [morning.civilDawn, "2022-06-20T10:01Z"],
      [evening.civilDusk, "2022-06-21T00:52Z"],
      [evening.nauticalDusk, "2022-06-21T01:25Z"],
      [evening.astronomicalDusk, "2022-06-21T02:00Z"],
    ] as const;
    for (const [event, iso] of table) report.hold("Sun, almanac", minutes(at(event), iso), iso);
  });
});

describe("PyEphem at latitude 0, longitude 0, 2000-01-01 (read in astroplan's tests)", () => {
  const seconds = (ms: number, clock: string) => (ms - Date.parse(`2000-01-01T${clock}Z`)) / 1000;
  const morning = sunEvents(Date.UTC(2000, 0, 1, 3), origin);
  const evening = sunEvents(Date.UTC(2000, 0, 1, 21), origin);

  it.each([
    ["astronomical dawn", morning.astronomicalDawn, "04:44:39.42"],
    ["nautical dawn", morning.nauticalDawn, "05:10:55.45"],
    ["civil dawn", morning.civilDawn, "05:37:04.70"],
    ["civil dusk", evening.civilDusk, "18:29:29.20"],
    ["nautical dusk", evening.nauticalDusk, "18:55:37.86"],
    ["astronomical dusk", evening.astronomicalDusk, "19:21:53.21"],
  ])("%s", (_, event, clock) => {
    report.hold("twilight, PyEphem", seconds(at(event), clock));
  });

  it("noon", () => {
    report.hold("solar noon", seconds(evening.noonMs, "12:03:17.2"));
    expect(morning.nextNoonMs).toBeCloseTo(evening.noonMs, -3);
  });
});

describe("astropy with astroplan 0.7, which PyEphem 4.1.4 matched to 1 s", () => {
  it.each([
    [
      "La Palma",
      28.7606,
      -17.8816,
      "2021-11-05",
      "18:47:40",
      "19:15:47",
      "19:43:36",
      "2021-11-06T06:06:56",
      "18:23:08",
    ],
    ["Vienna", 48.2, 16.4, "2020-10-17", "16:32:44", "17:08:50", "17:44:50", "2020-10-18T03:34:57", "16:01:14"],
    [
      "Siding Spring",
      -31.2733,
      149.0617,
      "2020-12-14",
      "09:31:21",
      "10:05:24",
      "10:42:04",
      "2020-12-14T17:15:10",
      "09:03:27",
    ],
  ])("%s", (_, latitudeDeg, longitudeDeg, date, civil, nautical, astronomical, dawn, sunset) => {
    const ms = (clock: string) => Date.parse(`${date}T${clock}Z`);
    // Asked for an instant in the night, not at its edge.
    const night = sunEvents(ms(astronomical) + 3_600_000, { latitudeDeg, longitudeDeg, heightM: 0 });
    const second = (event: { readonly utcMs: number | null }, expectedMs: number) => (at(event) - expectedMs) / 1000;
    report.hold("twilight, astropy", second(night.civilDusk, ms(civil)));
    report.hold("twilight, astropy", second(night.nauticalDusk, ms(nautical)));
    report.hold("twilight, astropy", second(night.astronomicalDusk, ms(astronomical)));
    report.hold("twilight, astropy", second(night.astronomicalDawn, Date.parse(`${dawn}Z`)));
    report.hold("sunset, astropy", second(night.sunset, ms(sunset)));
    expect(night.midnightMs).toBeGreaterThan(ms(astronomical));
    expect(night.midnightMs).toBeLessThan(Date.parse(`${dawn}Z`));
  });

  it.each([
    ["La Palma", 28.7606, -17.8816, "2021-11-05T19:03:11Z", "2021-11-06T09:12:01Z"],
    ["Vienna", 48.2, 16.4, "2020-10-17T16:43:11Z", "2020-10-18T07:11:05Z"],
    ["Siding Spring", -31.2733, 149.0617, "2020-12-14T08:38:03Z", "2020-12-14T19:04:18Z"],
  ])("Moon at %s", (_, latitudeDeg, longitudeDeg, set, rise) => {
    const night = moonEvents(Date.parse(set), { latitudeDeg, longitudeDeg, heightM: 0 });
    report.hold("Moon rise and set, astropy", (at(night.moonset) - Date.parse(set)) / 1000, "set");
    report.hold("Moon rise and set, astropy", (at(night.moonrise) - Date.parse(rise)) / 1000, "rise");
  });
});

describe("where the Sun does not pass an altitude", () => {
  // The Sun's declination is within 0.01 degrees of 23.44 on these dates; its altitude at noon is 90 - |latitude - dec|,
  // at midnight |latitude + dec| - 90.
  const june = Date.UTC(2021, 5, 21, 22);
  const december = Date.UTC(2021, 11, 21, 22);
  const at = (latitudeDeg: number): Site => ({ latitudeDeg, longitudeDeg: 15, heightM: 0 });

  it("midnight Sun at latitude 69.65: it stays at +3 degrees and above", () => {
    const night = sunEvents(june, at(69.65));
    expect(night.sunset).toEqual({ utcMs: null, because: "sun-stays-above" });
    expect(night.sunrise).toEqual({ utcMs: null, because: "sun-stays-above" });
    expect(night.astronomicalDusk).toEqual({ utcMs: null, because: "sun-stays-above" });
  });

  it("polar night at latitude 69.65: it stays at -3 degrees and below, with civil twilight at noon", () => {
    const night = sunEvents(december, at(69.65));
    expect(night.sunset).toEqual({ utcMs: null, because: "sun-stays-below" });
    expect(night.sunrise).toEqual({ utcMs: null, because: "sun-stays-below" });
    expect(night.civilDusk.utcMs).not.toBeNull();
    expect(night.astronomicalDawn.utcMs).not.toBeNull();
  });

  it("the astronomical night of midsummer ends between latitudes 48.4 and 48.7: 18 + 23.44 = 90 - 48.56", () => {
    expect(sunEvents(june, at(48.4)).astronomicalDusk.utcMs).not.toBeNull();
    expect(sunEvents(june, at(48.7)).astronomicalDusk).toEqual({ utcMs: null, because: "sun-stays-above" });
    expect(sunEvents(june, at(48.7)).nauticalDusk.utcMs).not.toBeNull();
  });

  it("at the poles", () => {
    expect(sunEvents(june, at(90)).civilDusk).toEqual({ utcMs: null, because: "sun-stays-above" });
    expect(sunEvents(june, at(-90)).astronomicalDusk).toEqual({ utcMs: null, because: "sun-stays-below" });
  });

  it("a Moon that stays up or down for a day says so", () => {
    // At the pole a body rises and sets once a month.
    expect(moonEvents(june, at(90)).moonrise).toEqual({ utcMs: null, because: "not-between-these-noons" });
  });
});
