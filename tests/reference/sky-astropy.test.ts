// Fifty random places, times and targets against astropy (sky-astropy.py beside this), and one real night.
import { execFileSync } from "node:child_process";
import { existsSync, readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { describe, expect, it } from "vitest";
import { moonPhaseAt, placeInSky } from "../../src/sky/place-in-sky.js";
import { hasPython, python, withoutPython } from "./python.js";
import { sharedUrl, withoutShared } from "./shared-data.js";
import { arcsecBetween, toleranceTable } from "./sky-tolerances.js";

type Angles = Record<
  | "altitudeDeg"
  | "azimuthDeg"
  | "sunAltitudeDeg"
  | "sunAzimuthDeg"
  | "moonAltitudeDeg"
  | "moonAzimuthDeg"
  | "moonSeparationDeg"
  | "ut1MinusUtcS",
  number
>;

/** Numbers from 0 to 1 that are the same in every run (Lehmer's generator with Park and Miller's constants). */
function repeatable(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state * 16_807) % 2_147_483_647;
    return state / 2_147_483_647;
  };
}

/** From 2000 to the middle of 2022, where the tables that came with astropy end. */
function randomCases(count: number) {
  const random = repeatable(20_260_101);
  return Array.from({ length: count }, () => ({
    utcMs: Math.round(Date.UTC(2000, 0, 1) + random() * (Date.UTC(2022, 6, 1) - Date.UTC(2000, 0, 1))),
    site: {
      latitudeDeg: (Math.asin(2 * random() - 1) * 180) / Math.PI,
      longitudeDeg: random() * 360 - 180,
      heightM: random() * 4000,
    },
    target: { raDeg: random() * 360, decDeg: (Math.asin(2 * random() - 1) * 180) / Math.PI },
  }));
}

const cos = (deg: number) => Math.cos((deg * Math.PI) / 180);
const moonWhy = "ERFA's note 3 to moon98: that Moon is off by 18.3 at worst, 2.9 rms; 1 arcsec is ours";
const ut1Why = "0.9 s of UT1 - UTC, 13.5 arcsec of hour angle, on top of what is allowed with the same UT1";
const skyWhy = "diurnal aberration and polar motion 0.3 each, deflection by the Sun 1.75 at worst";

describe.skipIf(!hasPython("astropy"))(`astropy ${hasPython("astropy") ? "" : withoutPython("astropy")}`, () => {
  const report = toleranceTable("50 random skies against astropy", {
    altitude: { unit: "arcsec", max: 3, why: skyWhy },
    "azimuth x cos(alt)": { unit: "arcsec", max: 3, why: skyWhy },
    "Sun altitude": { unit: "arcsec", max: 3, why: "the same without deflection; the library's Sun is a short series" },
    "Sun azimuth x cos(alt)": { unit: "arcsec", max: 3, why: "the same" },
    "Moon altitude": { unit: "arcsec", max: 19.3, rms: 6, why: moonWhy },
    "Moon azimuth x cos(alt)": { unit: "arcsec", max: 19.3, rms: 6, why: moonWhy },
    "Moon separation": { unit: "arcsec", max: 19.3, rms: 6, why: moonWhy },
    "altitude, measured UT1": { unit: "arcsec", max: 16.5, why: ut1Why },
    "Sun altitude, measured UT1": { unit: "arcsec", max: 16.5, why: ut1Why },
    "Moon altitude, measured UT1": { unit: "arcsec", max: 32.8, why: ut1Why },
  });

  it("altitude, azimuth, Sun and Moon", () => {
    const cases = randomCases(50);
    const input = cases.map(({ utcMs, site, target }) => ({
      utc: new Date(utcMs).toISOString().replace("Z", ""),
      ...site,
      ...target,
    }));
    const script = fileURLToPath(new URL("sky-astropy.py", import.meta.url));
    const answers = JSON.parse(execFileSync(python, [script], { input: JSON.stringify(input), encoding: "utf8" })) as {
      sameUt1: Angles;
      measuredUt1: Angles;
    }[];
    expect(answers).toHaveLength(cases.length);
    let largestUt1S = 0;
    cases.forEach(({ utcMs, site, target }, i) => {
      const place = placeInSky(utcMs, site, target);
      const { sameUt1, measuredUt1 } = answers[i]!;
      const label = JSON.stringify(input[i]);
      const hold = (name: Parameters<typeof report.hold>[0], a: number, b: number, factor = 1) =>
        report.hold(name, arcsecBetween(a, b) * factor, label);
      hold("altitude", place.altitudeDeg, sameUt1.altitudeDeg);
      hold("azimuth x cos(alt)", place.azimuthDeg, sameUt1.azimuthDeg, cos(sameUt1.altitudeDeg));
      hold("Sun altitude", place.sunAltitudeDeg, sameUt1.sunAltitudeDeg);
      hold("Sun azimuth x cos(alt)", place.sunAzimuthDeg, sameUt1.sunAzimuthDeg, cos(sameUt1.sunAltitudeDeg));
      hold("Moon altitude", place.moonAltitudeDeg, sameUt1.moonAltitudeDeg);
      hold("Moon azimuth x cos(alt)", place.moonAzimuthDeg, sameUt1.moonAzimuthDeg, cos(sameUt1.moonAltitudeDeg));
      hold("Moon separation", place.moonSeparationDeg, sameUt1.moonSeparationDeg);
      hold("altitude, measured UT1", place.altitudeDeg, measuredUt1.altitudeDeg);
      hold("Sun altitude, measured UT1", place.sunAltitudeDeg, measuredUt1.sunAltitudeDeg);
      hold("Moon altitude, measured UT1", place.moonAltitudeDeg, measuredUt1.moonAltitudeDeg);
      largestUt1S = Math.max(largestUt1S, Math.abs(measuredUt1.ut1MinusUtcS));
    });
    // Otherwise the tables were not found and the second comparison was none.
    expect(largestUt1S).toBeGreaterThan(0.3);
  });
});

const nightUrl = new URL("data/sky/lowell-5945/reference.csv", sharedUrl);
const hasNight = existsSync(nightUrl);

describe.skipIf(!hasNight)(`a night at Lowell Observatory ${hasNight ? "" : withoutShared}`, () => {
  const report = toleranceTable("67 frames of a night, as astropy places them", {
    altitude: { unit: "arcsec", max: 6, why: "printed to 1e-4 degrees; UT1 - UTC was -0.1 s, 1.5 arcsec" },
    "azimuth x cos(alt)": { unit: "arcsec", max: 6, why: "the same" },
    "Sun altitude": { unit: "arcsec", max: 6, why: "printed to 1e-3 degrees, 1.8 arcsec" },
    "Moon altitude": {
      unit: "arcsec",
      max: 18.3,
      rms: 6,
      why: "the worst of astropy's Moon (ERFA's note 3 to moon98)",
    },
    "Moon separation": { unit: "arcsec", max: 18.3, rms: 6, why: "the same" },
    "lit fraction at the site": { unit: "", max: 2e-4, why: "printed to 1e-4; 18 arcsec of Moon are 4e-5" },
    "lit fraction": { unit: "", max: 0.0084, why: "the Earth's radius is 0.95 degrees at the Moon; half its sine" },
  });

  it("altitude, azimuth, Sun and Moon at mid-exposure", () => {
    const [header, ...rows] = readFileSync(nightUrl, "utf8").trim().split(/\r?\n/);
    const names = header!.split(",");
    expect(rows).toHaveLength(67);
    for (const row of rows) {
      const fields = row.split(",");
      const text = (name: string) => fields[names.indexOf(name)]!;
      const number = (name: string) => Number(text(name));
      const utcMs = Date.parse(`${text("utc_mid")}Z`);
      const site = { latitudeDeg: 35.09675, longitudeDeg: -111.5355, heightM: 2206 };
      const target = { raDeg: sexagesimal(text("hdr_TELRA")) * 15, decDeg: sexagesimal(text("hdr_TELDEC")) };
      const place = placeInSky(utcMs, site, target);
      const hold = (name: Parameters<typeof report.hold>[0], a: number, column: string, factor = 1) =>
        report.hold(name, arcsecBetween(a, number(column)) * factor, text("file"));
      hold("altitude", place.altitudeDeg, "alt_deg");
      hold("azimuth x cos(alt)", place.azimuthDeg, "az_deg", cos(number("alt_deg")));
      hold("Sun altitude", place.sunAltitudeDeg, "sun_alt_deg");
      hold("Moon altitude", place.moonAltitudeDeg, "moon_alt_deg");
      hold("Moon separation", place.moonSeparationDeg, "moon_sep_deg");
      // The file's fraction is for the site; the frame table's is the almanac's.
      report.hold("lit fraction at the site", moonPhaseAt(utcMs, site).illumination - number("moon_illum"));
      report.hold("lit fraction", place.moonIllumination - number("moon_illum"));
    }
  });
});

function sexagesimal(text: string): number {
  const [a, b, c] = text.replace(/^[+-]/, "").split(":").map(Number) as [number, number, number];
  return (text.startsWith("-") ? -1 : 1) * (a + b / 60 + c / 3600);
}
