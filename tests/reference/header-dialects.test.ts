// The traps of real headers that ../shared/data/README.md collects, and trade-wide words, card by card. The expected
// values are plain arithmetic on the cards, or what the words mean to anyone in the trade.
import { describe, expect, it } from "vitest";
import { exposureFacts, type Given } from "../../src/read/exposure-facts.js";
import { filterKindOf } from "../../src/read/kind-facts.js";
import { readTemperature } from "../../src/read/temperatures.js";
import { headerOf } from "./header-of.js";

const factsOf = (cards: readonly string[], given: Given = []) => exposureFacts([headerOf(...cards)], given);
const notesOf = (cards: readonly string[], given: Given = []) => factsOf(cards, given).notes.join("\n");
const from = (values: Given[number]["values"]): Given => [{ from: "command line", values }];

describe("filters", () => {
  it.each([
    ["broadband", "L R G B V I VR Lum Luminance Red r' SDSS-r' Ks Johnson_V UV/IR_cut UV-IR_Cut RGGB"],
    ["narrowband", "Ha H-alpha H_alpha Hα Ha_7nm Ha7nm OIII O_III [OIII] O3 SII S2 Hb H-beta NII NB NB656 7_nm"],
    ["dual-band", "dual_band Duo-Band dualband multiband tri-band Ha+OIII HaOIII Ha/OIII SII-OIII"],
    ["none", "none Clear C Open empty no_filter"],
    ["unknown", "3 48 R2 S O Vision Pinhole Grism"],
  ])("%s: %s", (kind, names) => {
    for (const name of names.split(" ")) expect([name, filterKindOf(name.replaceAll("_", " "))]).toEqual([name, kind]);
  });

  it("of two wheels the one that holds a filter; text that names none is none", () => {
    expect(factsOf(["FILTER1 = 'Open'", "FILTER2 = 'V'"]).filter?.value).toBe("V");
    expect(factsOf(["FILTER  = 'Clear'"]).filter?.value).toBe("Clear");
    expect(factsOf(["FILTER  = ''"]).filter).toBeNull();
    expect(factsOf(["FILTER  = 'unknown'"]).filter).toBeNull();
    expect(factsOf(["FILTER  = ' Ha '"]).filter?.value).toBe("Ha");
  });
});

describe("kinds", () => {
  it.each([
    ["light", "'Light Frame' 'LIGHT' 'object' 'SCIENCE' 'sky'"],
    ["flat", "'flat field' 'Sky Flat' 'FLAT' 'Twilight'"],
    ["dark", "'Dark Frame' 'Master Dark'"],
    ["bias", "'zero' 'Bias Frame' 'OFFSET'"],
    ["dark-flat", "'Dark Flat' 'FLATDARK'"],
    ["other", "'focus image' 'acquisition' 'preview'"],
  ])("%s: %s", (kind, words) => {
    for (const word of words.match(/'[^']*'/g)!)
      expect([word, factsOf([`IMAGETYP= ${word}`, "EXPTIME = 5."]).kind.value]).toEqual([word, kind]);
  });

  it("a card that means something else is passed over; cards that disagree are noted", () => {
    expect(factsOf(["FRAME   = 'FK5'", "OBSTYPE = 'dark'"]).kind.value).toBe("dark");
    expect(notesOf(["IMAGETYP= 'Light'", "OBSTYPE = 'flat'"])).toContain("IMAGETYP says light, OBSTYPE flat");
    expect(factsOf(["EXPTIME = 5."]).kind).toEqual({ value: "light", from: { derived: "nothing says otherwise" } });
    expect(factsOf(["EXPTIME = 0."]).kind.value).toBe("bias");
  });
});

describe("exposure", () => {
  it.each([
    ["EXPOSURE= 70. / Exposure time minutes", 4200],
    ["EXPOSURE= '5 min'", 300],
    ["EXPTIME = 1500 / [ms] exposure", 1.5],
    ["EXPTIME = '300 s'", 300],
    ["EXPTIME = ' 060.00'", 60],
    ["EXPTIME = 2. / [s], rounded to 1 ms", 2],
    ["EXPTIME = 2. / seconds, at least a minute for darks", 2],
  ])("%s", (card, seconds) => expect(factsOf([card]).exposureS?.value).toBeCloseTo(seconds, 9));

  it("two cards that differ, and sums of frames, are noted", () => {
    expect(notesOf(["EXPTIME = 60.", "EXPOSURE= 300."])).toContain("EXPTIME is 60 s, EXPOSURE 300 s");
    expect(notesOf(["EXPTIME = 60.", "EXPOSURE= 1. / minutes"])).not.toContain("EXPTIME is");
    expect(notesOf(["EXPTIME = 60.", "NCOMBINE= 5"])).toContain("5 frames in one");
  });
});

describe("temperatures", () => {
  it("by unit, else by range", () => {
    // Kelvin less 273.15; (F - 32) / 1.8.
    expect(readTemperature("11 C", "")).toEqual({ celsius: 11, unit: "C", guessed: false });
    expect(readTemperature(180.2, "")?.celsius).toBeCloseTo(-92.95, 9);
    expect(readTemperature(268.15, "[K]")?.celsius).toBeCloseTo(-5, 9);
    expect(readTemperature(44.6, "in Deg F", "air")?.celsius).toBeCloseTo(7, 9);
    expect(readTemperature(51.8, "", "air")?.celsius).toBeCloseTo(11, 9);
    expect(readTemperature(50, "", "sensor")?.celsius).toBe(50); // an uncooled camera in summer
    for (const text of ["", "warm", "11 m", "11 counts", true, null]) expect(readTemperature(text, "")).toBeNull();
    for (const sentinel of [-300, -999, 999.9]) expect(readTemperature(sentinel, "deg C")).toBeNull();
    expect(notesOf(["CCD-TEMP= 270."])).toContain("taken as kelvin");
    expect(notesOf(["AMBTEMP = 51.8"])).toContain("taken as Fahrenheit");
  });

  it("0 is a temperature, unless the cold tip says 0 as well", () => {
    const held = factsOf(["CCD-TEMP= 0.", "SET-TEMP= 0.", "AMBTEMP = 0."]);
    expect([held.sensorTempC?.value, held.setTempC?.value, held.ambientTempC?.value]).toEqual([0, 0, 0]);
    const none = factsOf(["DETTEMP = 0.", "SETTEMP = 0.", "CTTEMP  = 0.", "AMBTEMP = 0."]);
    expect([none.sensorTempC, none.setTempC, none.ambientTempC?.value]).toEqual([null, null, 0]);
  });
});

describe("gain", () => {
  it.each([
    ["GAIN    = 1.9 / e-/ADU", 1.9, null],
    ["GAIN    = 3.7 / e/DN conversion", 3.7, null],
    ["GAIN    = 0.5 / electron(s) per ADU", 0.5, null],
    ["GAIN    = 4.0 / ADU per electron", 0.25, null],
    ["GAIN    = 120 / gain setting of the camera", null, 120],
    ["ISO     = 800", null, 800],
  ])("%s", (card, electrons, setting) => {
    const { electronsPerAdu, gainSetting } = factsOf([card]);
    expect([electronsPerAdu?.value ?? null, gainSetting?.value ?? null]).toEqual([electrons, setting]);
  });
  it("0 says nothing of read noise and saturation", () => {
    const { readNoiseE, saturationAdu } = factsOf(["RDNOISE = 0.", "SATURATE= 0"]);
    expect([readNoiseE, saturationAdu]).toEqual([null, null]);
  });
});

describe("scale", () => {
  it("from pixel size and focal length, written scale, or projection; binning once", () => {
    const camera = ["XPIXSZ  = 7.52", "FOCALLEN= 400.", "XBINNING= 2", "YBINNING= 2"];
    // 206.264806 * 7.52 / 400; XPIXSZ is after binning.
    expect(factsOf(camera).pixelScaleArcsec?.value).toBeCloseTo(3.8777784, 6);
    expect(notesOf(camera)).toContain("after binning");
    expect(notesOf([...camera, "PIXSCALE= 1.94"])).toMatch(/1\.940 arcsec, but 3\.878/);
    expect(factsOf(["PIXSCAL = 0.327 / Unbinned Pixel Scale", "CCDSUM  = '3 3'"]).pixelScaleArcsec?.value).toBeCloseTo(
      0.981,
    );
    expect(factsOf(["PLTSCL  = 67.2 / Plate Scale arcsec per mm"]).pixelScaleArcsec).toBeNull();
    expect(factsOf(["FOCALLEN= 2.8 / [m] focal length"]).focalLengthMm?.value).toBe(2800);
    const sky = ["CTYPE1  = 'RA---TAN'", "CDELT1  = -0.001", "CDELT2  = '0.001'"];
    expect(factsOf(sky).pixelScaleArcsec?.value).toBeCloseTo(3.6, 9);
    expect(factsOf(sky.slice(1)).pixelScaleArcsec).toBeNull();
  });
});

describe("colour mosaic", () => {
  // The pattern RGGB begins R G / G B. One column on: G R / B G; one row on: G B / R G; both: B G / G R.
  it.each([
    [[], "RGGB"],
    [["XBAYROFF= 1"], "GRBG"],
    [["YBAYROFF= 1"], "GBRG"],
    [["XBAYROFF= 1", "YBAYROFF= -1"], "BGGR"],
    [["ROWORDER= 'TOP-DOWN'"], "RGGB"],
    [["ROWORDER= 'BOTTOM-UP'", "NAXIS2  = 100"], "GBRG"],
    [["ROWORDER= 'BOTTOM-UP'", "NAXIS2  = 101"], "RGGB"],
  ])("%s", (cards, pattern) => expect(factsOf(["BAYERPAT= 'RGGB'", ...cards]).bayer?.value).toBe(pattern));
  it("a mosaic that is not known is noted", () => expect(notesOf(["BAYERPAT= 'XTRANS'"])).toContain("XTRANS"));
});

describe("coordinates", () => {
  it.each([
    [["RA      = '20:34:52'", "DEC     = '+60 09 14'"], (20 + 34 / 60 + 52 / 3600) * 15, 60 + 9 / 60 + 14 / 3600],
    [["RA      = 308.7", "DEC     = -0.5"], 308.7, -0.5],
    [["RA      = 20.58 / [h] hours", "DEC     = '-00:30:00'"], 308.7, -0.5],
    [["RA      = '308d42m00s'", "DEC     = '-00 30 00'"], 308.7, -0.5],
  ])("%s", (cards, raDeg, decDeg) => {
    const facts = factsOf(cards);
    expect(facts.raDeg?.value).toBeCloseTo(raDeg, 9);
    expect(facts.decDeg?.value).toBeCloseTo(decDeg, 9);
  });

  it("zeros, contradictions and other equinoxes are noted", () => {
    expect(factsOf(["RA      = 0.", "DEC     = 0."]).raDeg).toBeNull();
    const target = ["OBJCTRA = '20 34 52'", "OBJCTDEC= '+60 09 14'"];
    expect(notesOf([...target, "RA      = 308.7", "DEC     = 55."])).toContain("5.2 degrees apart");
    expect(notesOf([...target, "RA      = 308.7", "DEC     = 60.2"])).not.toContain("apart");
    expect(notesOf([...target, "EQUINOX = 'J2024.5'"])).toContain("0.3 degrees off");
    expect(notesOf([...target, "EQUINOX = '2000.0'"])).not.toContain("off");
  });
});

describe("who wins", () => {
  it("the image's own header before the primary one", () => {
    const facts = exposureFacts([
      headerOf("EXPOSURE= 30.", "OBJECT  = ''"),
      headerOf("EXPTIME = 60.", "OBJECT  = 'M 31'", "FILTER  = 'R'"),
    ]);
    expect(facts.exposureS).toEqual({ value: 30, from: { keyword: "EXPOSURE", offsetBytes: 0 } });
    expect([facts.target?.value, facts.filter?.value]).toEqual(["M 31", "R"]);
  });

  it("a given value before any header, and the difference is noted", () => {
    const cards = ["EXPTIME = 60.", "FILTER  = 'R'", "OBJECT  = 'NGC6888'", "FOCALLEN= 400.", "EGAIN   = 0.25"];
    const values = { exposureS: 30, filter: "Ha", target: "ngc 6888", focalLengthMm: 400, electronsPerAdu: 0.5 };
    const facts = factsOf(cards, from(values));
    expect(facts.exposureS).toEqual({ value: 30, from: { given: "command line" } });
    expect([facts.filter?.value, facts.filterKind.value]).toEqual(["Ha", "narrowband"]);
    const noted = facts.notes.filter((note) => note.includes("given as")).map((note) => note.split(" given")[0]);
    expect(noted.sort()).toEqual(["exposure", "filter", "gain in e-/ADU"]);
  });

  it("a keyword that stands twice with different values leaves a note", () =>
    expect(notesOf(["RDNOISE = 5.", "RDNOISE = 9."])).toContain("RDNOISE stands twice"));
});

describe("longitude", () => {
  const site = (longitude: string, ...more: string[]) => ["LATITUDE= 35.09675", longitude, ...more];
  it("west-positive by its comment or as given; else east, with a note where the keyword is known for it", () => {
    const west = site("LONGITUD= 110.88 / degrees west");
    expect(factsOf(west).site?.value.longitudeDeg).toBe(-110.88);
    expect(notesOf(west)).toContain("as its comment says");
    const plain = site("LONGITUD= 110.88");
    expect(factsOf(plain).site?.value.longitudeDeg).toBe(110.88);
    expect(notesOf(plain)).toContain("some headers count west as positive");
    expect(factsOf(plain, from({ headerLongitude: "west-positive" })).site?.value.longitudeDeg).toBe(-110.88);
    expect(factsOf(site("SITELONG= '111 32 07.8 W'")).site?.value.longitudeDeg).toBeCloseTo(-111.5355, 9);
    expect(notesOf(site("SITELONG= -110.88", "LONGITUD= 110.88"))).toContain("the first was taken");
  });

  it("sidereal time in seconds of the day decides as well, also where the number could be degrees", () => {
    // The site and night of ntt_emmi_image: LST 2420 s at 03:04:08 UT, so 300 s (1.25 degrees) 2120 sidereal s earlier.
    const cards = [
      "HIERARCH ESO TEL LAT = -29.2584",
      "HIERARCH ESO TEL LON = 70.7345",
      "HIERARCH ESO GEN EXPO LST = 300.",
      "DATE-OBS= '1992-10-26T02:28:54'",
    ];
    expect(factsOf(cards).site?.value.longitudeDeg).toBe(-70.7345);
  });

  it("zeros are no site; a given site elsewhere is noted, and does not borrow the header's height", () => {
    expect(factsOf(["SITELAT = 0.", "SITELONG= 0."]).site).toBeNull();
    const facts = factsOf(
      site("SITELONG= -110.88", "SITEELEV= 2206."),
      from({ latitudeDeg: 48.2, longitudeDeg: 16.4 }),
    );
    expect(facts.site?.value).toEqual({ latitudeDeg: 48.2, longitudeDeg: 16.4, heightM: 0 });
    expect(facts.notes.join("\n")).toContain("the given one was taken");
  });
});
