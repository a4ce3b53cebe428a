// FITS Standard 4.0, sections 4.4.2 and 9, and the habits of real headers, file by file: what the start of the exposure
// is, and where it must not be guessed (../shared/data/conformance/handmade/dates; `utcStart` in expected.json).
import { describe, expect, it } from "vitest";
import { exposureFacts } from "../../src/read/exposure-facts.js";
import { openFile } from "../../src/read/file-bytes.js";
import { firstImage } from "../../src/read/hdu.js";
import { isoUtc, parseInstant, secondsAheadOfUtc } from "../../src/read/instants.js";
import { headerOf } from "../reference/header-of.js";
import { expectedFiles, hasShared, sharedPath, withoutShared } from "../reference/shared-data.js";

const files = expectedFiles().filter(([, file]) => file.utcStart !== undefined);

describe.skipIf(!hasShared)(`start times${hasShared ? "" : ` (${withoutShared})`}`, () => {
  it("covers all files", () => expect(files.length).toBe(39));

  it.each(files)("%s", (path, { utcStart, kind }) => {
    const source = openFile(sharedPath(`data/${path}`));
    const { startUtc, startUtcMs, notes } = exposureFacts(firstImage(source).headers);
    source.close();
    if (utcStart === null) {
      expect(startUtc).toBeNull();
      expect(startUtcMs).toBeNull();
      expect(notes.join("\n")).toContain("the start time is not known");
      return;
    }
    // A leap second has no Unix time of its own; the standard's text is kept to within that second.
    expect(startUtc?.value).toBe(utcStart);
    expect(startUtcMs!.value).toBeCloseTo(Date.parse(utcStart!), 0);
    if (kind === "ambiguous") expect(notes.length).toBeGreaterThan(0);
    // Neither a gap nor a contradiction is claimed where there is none.
    expect(notes.join("\n")).not.toMatch(/not known|than the start/);
  });
});

it("dates that do not exist are none", () => {
  for (const text of [
    "2024-02-30T00:00:00",
    "2023-02-29",
    "2024-13-01",
    "10/03/2024",
    "2024-03-10T24:00:00",
    "2024-03-10T05:60:00",
    "2024-03-10T05:00:00+15:00",
    "0024-03-10",
    "noon",
  ])
    expect(parseInstant(text), text).toBeNull();
  expect(parseInstant("2024-02-29")?.dayMs).toBe(Date.UTC(2024, 1, 29));
});

it("time scales differ from UTC as Table 30 says", () => {
  // FITS Standard 4.0, Table 30: UTC = TAI - 36 s as of 2015-07-01; TT = TAI + 32.184 s (section 9.2.1).
  expect(secondsAheadOfUtc("TAI", Date.UTC(2016, 0, 1))).toBe(36);
  expect(secondsAheadOfUtc("TT", Date.UTC(2016, 0, 1))).toBeCloseTo(68.184, 9);
  expect(secondsAheadOfUtc("UTC", 0)).toBe(0);
});

it("writes instants with the digits they have", () => {
  expect(isoUtc(Date.UTC(2024, 2, 10, 5, 6, 7))).toBe("2024-03-10T05:06:07.000Z");
  expect(isoUtc(Date.UTC(2024, 2, 10, 5, 6, 7) + 123.456)).toBe("2024-03-10T05:06:07.123456Z");
  expect(isoUtc(Date.UTC(2024, 2, 10, 23, 59, 59) + 999.9999)).toBe("2024-03-11T00:00:00.000Z");
});

describe("start of the exposure, where the cards need to be understood", () => {
  const day = "DATE-OBS= '2024-03-10T05:06:07'";
  const startOf = (...cards: string[]) => {
    const { startUtc, notes } = exposureFacts([headerOf(...cards)]);
    return { start: startUtc?.value ?? null, notes: notes.join("\n") };
  };

  it("local time without a zone is never taken as UTC", () => {
    for (const cards of [[day, "TIMESYS = 'LOCAL'"], [`${day} / local time at start`]])
      expect(startOf(...cards)).toEqual({ start: null, notes: expect.stringContaining("local time without a zone") });
    expect(startOf(day, "TIMESYS = 'UTC' / not local").start).toBe("2024-03-10T05:06:07.000Z");
  });

  it("the middle or end of the exposure is turned into its start", () => {
    const exposure = "EXPTIME = 60.";
    expect(startOf(`${day} / mid-exposure, UT`, exposure).start).toBe("2024-03-10T05:05:37.000Z");
    expect(startOf(`${day} / end of exposure`, exposure).start).toBe("2024-03-10T05:05:07.000Z");
    expect(startOf("DATE-AVG= '2024-03-10T05:06:37'", exposure).start).toBe("2024-03-10T05:06:07.000Z");
    // JD 2460379.71292824 is 2024-03-10T05:06:37 (JD 2460379.5 is that day's start; 18397 s = 0.21292824 d).
    expect(startOf("MIDTIMJD=  2460379.71292824", exposure).start).toMatch(/^2024-03-10T05:06:0[67]/);
    expect(startOf(`${day} / mid-exposure`)).toEqual({ start: null, notes: expect.stringContaining("unknown length") });
  });

  it("a whole modified Julian date is a night's number, not midnight", () =>
    expect(startOf("MJD-OBS = 60379.0")).toEqual({ start: null, notes: expect.stringContaining("a day without") }));

  it("cards that put the exposure at another time are noted, and the first stands", () => {
    const told = startOf(day, "MJD-OBS = 60379.71258", "UTCSTART= '05:16:07'", "EXPTIME = 60.");
    expect(told.start).toBe("2024-03-10T05:06:07.000Z");
    expect(told.notes).toContain("MJD-OBS says 2024-03-10T17:06");
    expect(told.notes).toContain("UTCSTART says 2024-03-10T05:16:07.000Z, 10 min later");
    // Within the exposure nothing contradicts: 0.21292 d is 30 s later.
    expect(startOf(day, "MJD-OBS = 60379.21292", "EXPTIME = 60.").notes).toBe("");
  });

  it("a clock that was ahead is set right, with a note", () => {
    const { startUtc, notes } = exposureFacts([headerOf(day)], [{ from: "site file", values: { clockAheadS: 7 } }]);
    expect(startUtc).toEqual({
      value: "2024-03-10T05:06:00.000Z",
      from: { derived: "DATE-OBS less the clock's error" },
    });
    expect(notes).toEqual(["the camera's clock was 7 s ahead of UTC: taken off the start time"]);
  });
});
