// What real headers say, as ../shared/data/README.md and the READMEs beside the frames describe them.
import { readdirSync, readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { type ExposureFacts, exposureFacts } from "../../src/read/exposure-facts.js";
import { openFile } from "../../src/read/file-bytes.js";
import { firstImage } from "../../src/read/hdu.js";
import { Header } from "../../src/read/header.js";
import { hasShared, sharedPath, withoutShared } from "./shared-data.js";

const lowell = hasShared ? csvRows("data/sky/lowell-5945/reference.csv") : [];

/** Lines of a table without quotes, by column name. */
function csvRows(path: string): Record<string, string>[] {
  const [names, ...rows] = readFileSync(sharedPath(path), "utf8")
    .trim()
    .split(/\r?\n/)
    .map((line) => line.split(","));
  return rows.map((row) => Object.fromEntries(names!.map((name, index) => [name, row[index]!])));
}

function ownHeader(path: string): Header {
  const source = openFile(sharedPath(`data/${path}`));
  try {
    return firstImage(source).headers[0]!;
  } finally {
    source.close();
  }
}

function factsOf(path: string): ExposureFacts {
  const source = openFile(sharedPath(`data/${path}`));
  try {
    return exposureFacts(firstImage(source).headers);
  } finally {
    source.close();
  }
}
const notes = (facts: ExposureFacts) => facts.notes.join("\n");

describe.skipIf(!hasShared)(`real headers${hasShared ? "" : ` (${withoutShared})`}`, () => {
  it("lowell-5945: date and time in two cards, numbers in text, temperatures in C beside others in F", () => {
    const facts = factsOf("sky/lowell-5945/20190326.0126.fits.fz");
    expect(facts.kind.value).toBe("light");
    expect(facts.startUtc?.value).toBe("2019-03-26T02:27:31.130Z");
    expect(facts.startUtc?.from).toEqual({ derived: "DATE-OBS and UTCSTART" });
    expect(facts.exposureS?.value).toBe(300);
    expect(facts.filter?.value).toBe("VR");
    expect(facts.filterKind.value).toBe("broadband");
    expect(facts.target?.value).toBe("5945 Roachapproach");
    expect(facts.sensorTempC?.value).toBe(-102.25);
    expect(facts.setTempC?.value).toBe(-100);
    expect(facts.ambientTempC?.value).toBeCloseTo((51.7 - 32) / 1.8, 6);
    expect(facts.electronsPerAdu?.value).toBe(4.95);
    expect(facts.readNoiseE?.value).toBe(9.3);
    expect(facts.raDeg?.value).toBeCloseTo((8 + 18 / 60 + 29.9 / 3600) * 15, 9);
    expect(facts.decDeg?.value).toBeCloseTo(25 + 19 / 60 + 59 / 3600, 9);
    expect(facts.site?.value).toEqual({ latitudeDeg: 35.09675, longitudeDeg: -111.5355, heightM: 2206 });
    expect(facts.pixelScaleArcsec?.value).toBeCloseTo(0.981, 3);
    expect(facts.binningX?.value).toBe(3);
  });

  it.each(lowell.filter(({ file }) => /01(?:26|59|92)/.test(file)))(
    "lowell-5945 $file: as reference.csv has it",
    (row) => {
      const facts = factsOf(`sky/lowell-5945/${row.file}`);
      expect(facts.startUtcMs?.value).toBeCloseTo(Date.parse(`${row.utc_start}0Z`), 0);
      expect(facts.exposureS?.value).toBe(Number(row.exptime_s));
      expect(facts.sensorTempC?.value).toBe(Number(row.hdr_DETTEMP_C));
      expect(facts.setTempC?.value).toBe(Number(row.hdr_SETTEMP_C));
      expect(facts.ambientTempC?.value).toBeCloseTo((Number(row.hdr_TEMP_OUT_F) - 32) / 1.8, 9);
      expect(facts.pixelScaleArcsec?.value).toBe(Number(row.hdr_SECPIXX));
      const [hours, minutes, seconds] = row.hdr_TELRA!.split(":").map(Number) as [number, number, number];
      expect(facts.raDeg?.value).toBeCloseTo((hours + minutes / 60 + seconds / 3600) * 15, 9);
    },
  );

  it("lowell-5945: all 67 start when reference.csv says", () => {
    expect(lowell.length).toBe(67);
    for (const row of lowell) {
      const { startUtcMs } = factsOf(`sky/lowell-5945/${row.file}`);
      expect(Math.abs(startUtcMs!.value - Date.parse(`${row.utc_start}0Z`)), row.file).toBeLessThan(1);
    }
  });

  it("lowell-5945: were the longitude west positive, sidereal time would show it, and hour angle as well", () => {
    const { cards } = ownHeader("sky/lowell-5945/20190326.0126.fits.fz");
    const west = cards.map((card) => (card.keyword === "LONGITUD" ? { ...card, value: 111.5355, comment: "" } : card));
    const bySidereal = exposureFacts([new Header("west.fits", west, 0, 2880)]);
    expect(bySidereal.site?.value.longitudeDeg).toBe(-111.5355);
    expect(notes(bySidereal)).toContain("as LST-OBS shows");
    const silent = west.filter(({ keyword }) => keyword !== "LST-OBS");
    const byHourAngle = exposureFacts([new Header("west.fits", silent, 0, 2880)]);
    expect(byHourAngle.site?.value.longitudeDeg).toBe(-111.5355);
    expect(notes(byHourAngle)).toContain("as HA shows");
    const neither = exposureFacts([
      new Header(
        "west.fits",
        silent.filter(({ keyword }) => keyword !== "HA"),
        0,
        2880,
      ),
    ]);
    expect(neither.site?.value.longitudeDeg).toBe(111.5355);
    expect(notes(neither)).toContain("LONGITUD is taken as east");
  });

  it("spitzer: galactic projection, gain in e/DN, no start time", () => {
    const facts = factsOf("frames/spitzer_irac_float32.fits");
    expect([facts.startUtc, facts.site, facts.filter]).toEqual([null, null, null]);
    expect([facts.exposureS?.value, facts.electronsPerAdu?.value, facts.gainSetting]).toEqual([1.2, 3.7, null]);
    expect([facts.raDeg?.value, facts.decDeg?.value]).toEqual([275.92636108, -13.25728989]);
    expect(facts.pixelScaleArcsec?.value).toBe(1.2);
  });

  it("2mass: a filter under BAND, a projection by CDELT", () => {
    const facts = factsOf("frames/2mass_k_gc_float32.fits");
    expect([facts.filter?.value, facts.filterKind.value]).toEqual(["K", "broadband"]);
    expect([facts.raDeg?.value, facts.decDeg?.value]).toEqual([266.4, -28.93333]);
    expect(facts.pixelScaleArcsec?.value).toBeCloseTo(3600 * 0.001388889, 9);
    expect(facts.startUtc).toBeNull();
  });

  it.each([
    ["pole", "2017-04-10T04:35:16.000Z", 30.1, 44],
    ["rotation", "2017-04-10T04:36:15.000Z", 25.2, 43],
    ["tiny", "2016-09-09T08:12:26.000Z", 120.4, 11],
    ["solved", "2016-09-09T08:14:34.000Z", 120.4, 13],
  ])("panoptes %s: empty text is no value", (name, start, exposureS, sensorTempC) => {
    const facts = factsOf(`frames/panoptes_${name}.fits${name === "solved" ? ".fz" : ""}`);
    expect([facts.startUtc?.value, facts.exposureS?.value, facts.sensorTempC?.value, facts.gainSetting?.value]).toEqual(
      [start, exposureS, sensorTempC, 100],
    );
    const empty = name === "pole" || name === "rotation";
    expect([facts.site, facts.filter, facts.target, facts.bayer].map((fact) => fact === null)).toEqual(
      new Array(4).fill(empty),
    );
    if (name === "rotation") expect(facts.raDeg).toBeNull();
    if (name === "pole")
      expect([facts.raDeg?.value, facts.decDeg?.value]).toEqual([expect.closeTo(38.5347431936, 9), 89.0745311824]);
  });

  it("panoptes: '11 C' in text, a colour mosaic named as its filter, coordinates of the mount", () => {
    const facts = factsOf("frames/panoptes_unsolved.fits");
    expect(facts.sensorTempC?.value).toBe(11);
    expect(facts.bayer?.value).toBe("RGGB");
    expect(facts.target?.value).toBe("KIC 8462852");
    expect(facts.raDeg?.value).toBe(301.56439);
    expect(facts.decDeg?.value).toBe(44.456875);
    expect(facts.site?.value).toEqual({ latitudeDeg: 19.54, longitudeDeg: -155.58, heightM: 3400 });
    expect(facts.gainSetting?.value).toBe(100);
    expect(facts.startUtc?.value).toBe("2016-09-09T08:12:26.000Z");
  });

  it("ntt_emmi: kelvin without a unit, DD/MM/YY and seconds of the day, right ascension in degrees, doubled cards", () => {
    const facts = factsOf("frames/ntt_emmi_image.fits");
    expect(facts.startUtc?.value).toBe("1992-10-26T03:04:08.000Z");
    expect(facts.raDeg?.value).toBe(5.64817);
    expect(facts.decDeg?.value).toBe(-30.18297);
    expect(facts.exposureS?.value).toBe(1200);
    expect(facts.pixelScaleArcsec).toBeNull(); // CDELT 1 without a sky axis is no scale
    expect(notes(facts)).toContain("two digits");
    // HIERARCH cards: temperature, site with a longitude west of Greenwich written positive, sidereal time in seconds.
    expect(facts.sensorTempC?.value).toBeCloseTo(137.6 - 273.15, 6);
    expect(facts.site?.value).toEqual({ latitudeDeg: -29.2584, longitudeDeg: -70.7345, heightM: 2440 });
    expect(notes(facts)).toContain("ESO TEL LON counts west as positive, as ESO GEN EXPO LST shows");
    // The header contradicts itself: the log and TM-START say 03:04:08, MJD-OBS is half a day later.
    expect(notes(facts)).toMatch(/MJD-OBS says 1992-10-26T15:04:0[78].*12\.0 h later/);
    expect(facts.framesSummed?.value).toBe(3);
  });

  it("saao: SECZ, date only with UT, kelvin, blanks before coordinates", () => {
    const facts = factsOf("frames/saao_ste3_a8280271.fits");
    expect(facts.startUtc?.value).toBe("2013-07-13T00:57:33.000Z");
    expect(facts.raDeg?.value).toBeCloseTo((22 + 4 / 60 + 8 / 3600) * 15, 9);
    expect(facts.decDeg?.value).toBeCloseTo(-(55 / 60 + 31 / 3600), 9);
    expect(facts.electronsPerAdu?.value).toBe(1.9);
    expect(facts.readNoiseE?.value).toBe(5);
    expect(facts.kind.value).toBe("light");
    expect(facts.sensorTempC?.value).toBeCloseTo(180.2 - 273.15, 6);
    expect(notes(facts)).toContain("kelvin");
  });

  it("feder: sexagesimal site in text, focal length 0 is not known, a solved projection", () => {
    const facts = factsOf("frames/feder_sip-wcs.fit");
    expect(facts.site?.value.latitudeDeg).toBeCloseTo(46 + 52 / 60 + 0.408 / 3600, 9);
    expect(facts.site?.value.longitudeDeg).toBeCloseTo(-(96 + 27 / 60 + 11.8008 / 3600), 9);
    expect(facts.focalLengthMm).toBeNull();
    expect(facts.setTempC?.value).toBeCloseTo(-18.9, 5);
    expect(facts.raDeg?.value).toBe(280.544106813);
    expect(facts.pixelScaleArcsec?.value).toBeCloseTo(
      3600 * Math.sqrt(0.000152978060309 * 0.000152891927788 + 0.0000252560835888 * 0.0000248148467064),
      9,
    );
  });

  it("dss: exposure in minutes by its comment", () => {
    const facts = factsOf("frames/dss_14.29.56-62.41.05.fits.gz");
    expect(facts.exposureS?.value).toBe(4200);
    expect(facts.startUtc?.value).toBe("1976-03-11T17:38:00.000Z");
    expect(facts.decDeg?.value).toBeCloseTo(-(62 + 41 / 60 + 5 / 3600), 9);
    expect(facts.site?.value.longitudeDeg).toBeCloseTo(149 + 3 / 60 + 42 / 3600, 9);
    expect(notes(facts)).toContain("minutes");
  });

  it("focus sweep: all ten start when their own DATE-OBS says, within the exposure of every other clock", () => {
    const names = readdirSync(sharedPath("data/frames/lowell_focus_sweep"));
    expect(names.length).toBe(10);
    for (const name of names) {
      const facts = factsOf(`frames/lowell_focus_sweep/${name}`);
      expect(facts.startUtc?.value, name).toMatch(/^2015-07-22T07:0\d:\d\d\.\d\d0Z$/);
      expect(notes(facts), name).not.toMatch(/than the start/);
      expect(facts.site?.value).toEqual({ latitudeDeg: 34.7443, longitudeDeg: -111.4223, heightM: 2361 });
    }
  });

  it("focus sweep: temperatures of 0 everywhere mean not measured; axes in pixels are no sky", () => {
    const facts = factsOf("frames/lowell_focus_sweep/63_100.fits");
    expect([facts.sensorTempC, facts.setTempC]).toEqual([null, null]);
    expect(facts.ambientTempC?.value).toBe(17.1);
    expect([facts.electronsPerAdu?.value, facts.gainSetting]).toEqual([7.8, null]);
    expect(notes(facts)).toContain("not measured");
    expect(facts.pixelScaleArcsec?.value).toBe(0.336);
    expect(facts.raDeg?.value).toBeCloseTo((43 / 60 + 50.23 / 3600) * 15, 9);
  });

  it("a header with nothing but the mandatory cards gives nothing, and does not fail", () => {
    const facts = factsOf("frames/panoptes_noheader.fits");
    expect([facts.startUtc, facts.exposureS, facts.filter, facts.site, facts.raDeg, facts.sensorTempC]).toEqual([
      null,
      null,
      null,
      null,
      null,
      null,
    ]);
    expect(facts.kind.value).toBe("light");
  });
});
