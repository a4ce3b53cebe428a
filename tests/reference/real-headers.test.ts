// What real headers say, as ../shared/data/README.md and the READMEs beside the frames describe them.
import { describe, expect, it } from "vitest";
import { type ExposureFacts, exposureFacts } from "../../src/read/exposure-facts.js";
import { openFile } from "../../src/read/file-bytes.js";
import { firstImage } from "../../src/read/hdu.js";
import { hasShared, sharedPath, withoutShared } from "./shared-data.js";

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
  });

  it("saao: SECZ, date only with UT, kelvin, blanks before coordinates", () => {
    const facts = factsOf("frames/saao_ste3_a8280271.fits");
    expect(facts.startUtc?.value).toBe("2013-07-13T00:57:33.000Z");
    expect(facts.raDeg?.value).toBeCloseTo((22 + 4 / 60 + 8 / 3600) * 15, 9);
    expect(facts.decDeg?.value).toBeCloseTo(-(55 / 60 + 31 / 3600), 9);
    expect(facts.electronsPerAdu?.value).toBe(1.9);
    expect(facts.readNoiseE?.value).toBe(5);
    expect(facts.kind.value).toBe("light");
    if (facts.sensorTempC !== null) expect(facts.sensorTempC.value).toBeCloseTo(180.2 - 273.15, 6);
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

  it("focus sweep: temperatures of 0 everywhere mean not measured; axes in pixels are no sky", () => {
    const facts = factsOf("frames/lowell_focus_sweep/63_100.fits");
    expect(facts.sensorTempC).toBeNull();
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
