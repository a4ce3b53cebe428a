// Windows against twilight and Moon tables made apart from this code (astropy with astroplan 0.7, U.S. Naval Observatory; the
// values are those of the check values and of sky-twilight.test.ts), and the special cases of geometry.
import { describe, expect, it } from "vitest";
import { iCalendar } from "../../src/plan/calendar.js";
import { altitudeYield, relativeRate } from "../../src/plan/relative-rate.js";
import { comingNights, targetPath } from "../../src/plan/windows.js";
import { placeInSky, sunAltitudeDeg } from "../../src/sky/place-in-sky.js";
import { fromRows } from "../../src/terms/frame-table.js";

const vienna = { latitudeDeg: 48.2, longitudeDeg: 16.4, heightM: 0 };
const tromso = { latitudeDeg: 69.65, longitudeDeg: 18.96, heightM: 50 };
const m31 = { raDeg: 10.684708, decDeg: 41.26875 };
const m81 = { raDeg: 148.888221, decDeg: 69.065295 };
const lmc = { raDeg: 80.89386, decDeg: -69.756126 };

describe("darkness", () => {
  it.each([
    ["La Palma", 28.7606, -17.8816, "2021-11-05T22:00Z", "2021-11-05T19:43:36Z", "2021-11-06T06:06:56Z"],
    ["Vienna", 48.2, 16.4, "2020-10-17T22:00Z", "2020-10-17T17:44:50Z", "2020-10-18T03:34:57Z"],
    ["Siding Spring", -31.2733, 149.0617, "2020-12-14T13:00Z", "2020-12-14T10:42:04Z", "2020-12-14T17:15:10Z"],
  ])("%s: astronomical dusk and dawn within 3 s of astropy's", (_, latitudeDeg, longitudeDeg, at, dusk, dawn) => {
    const [night] = comingNights({
      site: { latitudeDeg, longitudeDeg, heightM: 0 },
      target: m31,
      fromMs: Date.parse(at),
      nights: 1,
      minAltitudeDeg: 0,
    });
    expect(Math.abs(night!.dark!.startMs - Date.parse(dusk))).toBeLessThan(3000);
    expect(Math.abs(night!.dark!.endMs - Date.parse(dawn))).toBeLessThan(3000);
  });

  // The same sites and evenings: civil, nautical dusk.
  it.each([
    ["La Palma", 28.7606, -17.8816, "2021-11-05T22:00Z", "2021-11-05T18:47:40Z", "2021-11-05T19:15:47Z"],
    ["Vienna", 48.2, 16.4, "2020-10-17T22:00Z", "2020-10-17T16:32:44Z", "2020-10-17T17:08:50Z"],
    ["Siding Spring", -31.2733, 149.0617, "2020-12-14T13:00Z", "2020-12-14T09:31:21Z", "2020-12-14T10:05:24Z"],
  ])("%s: civil and nautical dusk within 3 s of astropy's", (_, latitudeDeg, longitudeDeg, at, civil, nautical) => {
    for (const [sunBelowDeg, expected] of [
      [-6, civil],
      [-12, nautical],
    ] as const) {
      const [night] = comingNights({
        site: { latitudeDeg, longitudeDeg, heightM: 0 },
        target: m31,
        fromMs: Date.parse(at),
        nights: 1,
        minAltitudeDeg: 0,
        sunBelowDeg,
      });
      expect(Math.abs(night!.dark!.startMs - Date.parse(expected))).toBeLessThan(3000);
    }
  });

  it.each([
    [-6, "10:01", "00:52"],
    [-12, "09:28", "01:25"],
    [-18, "08:54", "02:00"],
  ])(
    "Orlando, 2022-06-20, Sun below %d: to %s, and again from %s UT (the table read in cosinekitty/astronomy, to the minute)",
    (sunBelowDeg, dawn, dusk) => {
      const site = { latitudeDeg: 28.538, longitudeDeg: -81.379, heightM: 0 };
      const [before, after] = comingNights({
        site,
        target: m81,
        fromMs: Date.UTC(2022, 5, 20, 5),
        nights: 2,
        minAltitudeDeg: 0,
        sunBelowDeg,
      });
      expect(Math.abs(before!.dark!.endMs - Date.parse(`2022-06-20T${dawn}Z`))).toBeLessThan(61_000);
      expect(Math.abs(after!.dark!.startMs - Date.parse(`2022-06-21T${dusk}Z`))).toBeLessThan(61_000);
    },
  );
});

describe("the Moon above the horizon while it is dark", () => {
  /** Hours of moonlight, for a target that is up all night. */
  const moonUp = (latitudeDeg: number, longitudeDeg: number, at: string, sunBelowDeg: number) => {
    const [night] = comingNights({
      site: { latitudeDeg, longitudeDeg, heightM: 0 },
      target: latitudeDeg > 0 ? { raDeg: 0, decDeg: 85 } : { raDeg: 0, decDeg: -85 },
      fromMs: Date.parse(at),
      nights: 1,
      minAltitudeDeg: 0,
      sunBelowDeg,
      stepMin: 0.5,
    });
    return { hours: night!.moonUpHours, endMs: night!.dark!.endMs };
  };
  const hours = (from: string, to: string) => (Date.parse(to) - Date.parse(from)) / 3_600_000;

  // Tables give the upper limb with refraction, 50' below the centre on the horizon, which takes 3 to 6 minutes at these
  // places; the table of the U.S. Naval Observatory is to the minute.
  const limbMin = (minutes: number) => {
    expect(minutes).toBeGreaterThan(2);
    expect(minutes).toBeLessThan(7);
  };

  it("from civil dusk to moonset (astropy): La Palma and Vienna; none at Siding Spring", () => {
    const palma = moonUp(28.7606, -17.8816, "2021-11-05T22:00Z", -6).hours;
    limbMin(60 * (hours("2021-11-05T18:47:40Z", "2021-11-05T19:03:11Z") - palma));
    const vienna = moonUp(48.2, 16.4, "2020-10-17T22:00Z", -6).hours;
    limbMin(60 * (hours("2020-10-17T16:32:44Z", "2020-10-17T16:43:11Z") - vienna));
    // Moonset 08:38:03 before civil dusk, moonrise 19:04:18 after civil dawn.
    expect(moonUp(-31.2733, 149.0617, "2020-12-14T13:00Z", -6).hours).toBe(0);
  });

  it.each([
    ["2019-01-01T06:00Z", "2019-01-01T08:12Z"],
    ["2019-06-21T06:00Z", "2019-06-21T03:16Z"],
    ["2019-12-21T06:00Z", "2019-12-21T07:25Z"],
  ])("%s at 29 N 81 W: from moonrise (U.S. Naval Observatory: %s) to the end of the night", (at, rise) => {
    const { hours: up, endMs } = moonUp(29, -81, at, -12);
    limbMin((endMs - Date.parse(rise)) / 60_000 - up * 60);
  });
});

describe("stretches", () => {
  const nights = comingNights({
    site: vienna,
    target: m31,
    fromMs: Date.UTC(2020, 9, 17, 22),
    nights: 20,
    minAltitudeDeg: 35,
  });

  it("begin and end where Sun or target pass their limits, and hold in between", () => {
    expect(nights.length).toBe(20);
    for (const night of nights) {
      expect(night.because).toBeNull();
      for (const { startMs, endMs } of night.stretches) {
        for (let i = 0; i <= 10; i++) {
          const ms = startMs + ((endMs - startMs) * i) / 10;
          expect(placeInSky(ms, vienna, m31).altitudeDeg).toBeGreaterThan(34.99);
          expect(sunAltitudeDeg(ms, vienna)).toBeLessThan(-17.99);
        }
      }
    }
    // M 31 sets to 35 degrees 3.9 minutes earlier every night, by the stars (24 h less 23 h 56 min 4 s).
    const ends = nights.map((night) => night.stretches.at(-1)!.endMs);
    expect(Math.abs((ends[19]! - ends[0]!) / 19 / 60_000 - (1440 - 3.93))).toBeLessThan(0.1);
  });

  it("the Moon: full on 2020-10-31 14:49 UT (U.S. Naval Observatory), new on 10-16: no moonlight on the first nights, all night at the full", () => {
    expect(nights[0]!.moonUpHours).toBe(0);
    expect(nights[0]!.moonIllumination).toBeLessThan(0.05);
    const full = nights[14]!;
    expect(full.moonIllumination).toBeGreaterThan(0.99);
    expect(full.moonUpHours).toBeGreaterThan(0.9 * full.hours);
    expect(full.leastMoonSeparationDeg).toBeGreaterThan(20);
  });

  it("moonlight costs broadband more than narrowband, and nothing without a Moon", () => {
    const at = (readShare: number) =>
      comingNights({
        site: vienna,
        target: m31,
        fromMs: Date.UTC(2020, 9, 17, 22),
        nights: 15,
        rate: { sky: { darkZenithMag: 21, extinctionMagPerAirmass: 0.25 }, readShare },
      });
    const [broad, narrow] = [at(0.02), at(0.5)];
    const part = (night: { effectiveHours: number; hours: number }) => night.effectiveHours / night.hours;
    expect(part(broad[14]!)).toBeLessThan(0.5 * part(broad[0]!));
    expect(part(narrow[14]!) / part(narrow[0]!)).toBeGreaterThan(part(broad[14]!) / part(broad[0]!));
    expect(part(broad[0]!)).toBeLessThanOrEqual(1);
  });

  it("the rate by hand: sky three times as bright, a quarter of the noise from reading", () => {
    // 1 / (0.75 x 3 + 0.25) = 0.4 at the zenith; 3 x brighter is 1.1928 mag.
    const zenith = {
      altitudeDeg: 90,
      airmass: 1,
      sunAltitudeDeg: -40,
      moonAltitudeDeg: -10,
      moonSeparationDeg: 90,
      moonPhaseAngleDeg: 90,
      moonDistanceKm: 384_400,
    };
    const terms = { sky: { darkZenithMag: 20, extinctionMagPerAirmass: 0.2 }, readShare: 0.25 };
    expect(relativeRate(zenith, terms)).toBeCloseTo(1, 9);
    // Twilight on a natural sky of V 22 at the Sun's -15.6 degrees or so: find where it trebles, then compare.
    const trebled = { ...terms, sky: { ...terms.sky, darkZenithMag: 22 } };
    let sun = -18;
    for (let lo = -18, hi = -12, i = 0; i < 60; i++) {
      sun = (lo + hi) / 2;
      const brighter = 1 / relativeRate({ ...zenith, sunAltitudeDeg: sun }, { ...trebled, readShare: 0 });
      if (brighter < 3) lo = sun;
      else hi = sun;
    }
    expect(relativeRate({ ...zenith, sunAltitudeDeg: sun }, trebled)).toBeCloseTo(0.4, 6);
    expect(relativeRate({ ...zenith, sunAltitudeDeg: 10 }, terms)).toBe(0);
  });
});

describe("skies without a window", () => {
  it("polar summer: the Sun stays above, and nothing is proposed", () => {
    const nights = comingNights({ site: tromso, target: m81, fromMs: Date.UTC(2021, 5, 21, 22), nights: 5 });
    for (const night of nights)
      expect(night).toMatchObject({ dark: null, stretches: [], because: "sun-stays-above", hours: 0 });
    expect(nights[0]!.darkestSunDeg).toBeGreaterThan(2);
  });

  it("polar night: dark at noon as well, by the limit asked for", () => {
    const site = { latitudeDeg: 85, longitudeDeg: 0, heightM: 0 };
    const [night] = comingNights({ site, target: m81, fromMs: Date.UTC(2021, 11, 21, 22), nights: 1 });
    expect(night!.hours).toBeGreaterThan(23.9);
    expect(night!.hours).toBeLessThan(24.1);
  });

  it("never rising, too low, circumpolar", () => {
    expect(targetPath(vienna, lmc).always).toBe("below-horizon");
    const [never] = comingNights({ site: vienna, target: lmc, fromMs: Date.UTC(2020, 11, 17), nights: 1 });
    expect(never!.because).toBe("target-never-rises");
    // NGC 253 culminates at 90 - 48.2 - 25.3 = 16.5 degrees.
    const low = { raDeg: 11.888, decDeg: -25.288 };
    expect(targetPath(vienna, low).highestDeg).toBeCloseTo(16.512, 3);
    expect(comingNights({ site: vienna, target: low, fromMs: Date.UTC(2020, 9, 17), nights: 1 })[0]!.because).toBe(
      "target-stays-below-limit",
    );
    expect(targetPath(vienna, m81)).toMatchObject({ always: "up" });
    // Orion in June stands beside the Sun.
    const m42 = { raDeg: 83.822, decDeg: -5.391 };
    expect(comingNights({ site: vienna, target: m42, fromMs: Date.UTC(2021, 5, 10), nights: 1 })[0]!.because).toBe(
      "target-not-up-while-dark",
    );
  });

  it("a limit that would let the Sun in is refused", () => {
    const request = { site: vienna, target: m31, fromMs: 0, nights: 1 };
    for (const sunBelowDeg of [0, 5, -5, Number.NaN])
      expect(() => comingNights({ ...request, sunBelowDeg })).toThrow(/near the Sun/);
    expect(() => comingNights({ ...request, nights: 0 })).toThrow(/nights/);
    expect(() => comingNights({ ...request, site: { ...vienna, latitudeDeg: 99 } })).toThrow(/latitudeDeg/);
  });
});

describe("the altitude that pays", () => {
  it("is where half of the best yield is reached", () => {
    const table = fromRows(
      Array.from({ length: 600 }, (_, i) => {
        const altitudeDeg = 20 + (i % 60);
        const good = altitudeDeg >= 35;
        return {
          kind: "light",
          verdict: good || i % 4 === 0 ? "keep" : "drop",
          altitudeDeg,
          exposureS: 30,
          effectiveExposureS: good ? 27 : 12,
        };
      }),
    );
    const { bins, paysAboveDeg } = altitudeYield(
      table,
      Array.from({ length: 600 }, (_, i) => i),
    );
    expect(bins.length).toBe(12);
    expect(paysAboveDeg).toBe(35);
    // The night as a whole: of 60 subs 45 worth 27 s and 4 worth 12 s, of 30 s each: 1263 / 1800. High up 27 / 30.
    expect(bins[5]!.yield).toBeCloseTo(0.9 / (1263 / 1800), 9);
    // At 20 to 24 degrees two of five are kept, each worth 12 of 30 s.
    expect(bins[0]!.yield).toBeCloseTo(0.16 / (1263 / 1800), 9);
  });
});

describe("iCalendar (RFC 5545)", () => {
  const text = iCalendar(
    [
      {
        startMs: Date.UTC(2026, 2, 14, 20, 5, 7),
        endMs: Date.UTC(2026, 2, 15, 1),
        title: "M 31; Hα, 4 h",
        description: `${"lang é ".repeat(30)}\nend`,
        uid: "a@nightyield",
      },
    ],
    Date.UTC(2026, 2, 1),
  );

  it("has the lines the standard asks for, ended by CR LF", () => {
    const lines = text.split("\r\n");
    expect(lines[0]).toBe("BEGIN:VCALENDAR");
    expect(lines).toContain("DTSTART:20260314T200507Z");
    expect(lines).toContain("DTSTAMP:20260301T000000Z");
    expect(lines).toContain("SUMMARY:M 31\\; Hα\\, 4 h");
    expect(text.endsWith("END:VCALENDAR\r\n")).toBe(true);
    expect(text.replaceAll("\r\n", "")).not.toMatch(/[\r\n]/);
  });

  it("other control characters do not reach the file", () => {
    const odd = { startMs: 0, endMs: 1000, title: "a\rb\u0007c\u0000", uid: "u" };
    const [summary] = /SUMMARY:.*/.exec(iCalendar([odd], 0))!;
    expect(summary).toBe("SUMMARY:a\\nb c ");
    expect(() => iCalendar([{ ...odd, endMs: 0 }], 0)).toThrow(/ends before it starts/);
  });

  it("folds at 75 octets and unfolds to what was written", () => {
    for (const line of text.split("\r\n")) expect(Buffer.byteLength(line)).toBeLessThanOrEqual(75);
    expect(text.replaceAll("\r\n ", "")).toContain(`DESCRIPTION:${"lang é ".repeat(30)}\\nend`);
  });
});
