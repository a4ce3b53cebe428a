// FITS Standard 4.0, sections 4.4.2 and 9, and the habits of real headers, file by file: what the start of the exposure
// is, and where it must not be guessed (../shared/data/conformance/handmade/dates; `utcStart` in expected.json).
import { describe, expect, it } from "vitest";
import { exposureFacts } from "../../src/read/exposure-facts.js";
import { openFile } from "../../src/read/file-bytes.js";
import { firstImage } from "../../src/read/hdu.js";
import { isoUtc, parseInstant, secondsAheadOfUtc } from "../../src/read/instants.js";
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
      if (!/date_keyword_only|undefined|unquoted|empty_string/.test(path)) expect(notes.length).toBeGreaterThan(0);
      return;
    }
    // A leap second has no Unix time of its own; the standard's text is kept to within that second.
    expect(startUtc?.value).toBe(utcStart);
    expect(startUtcMs!.value).toBeCloseTo(Date.parse(utcStart!), 0);
    if (kind === "ambiguous") expect(notes.length).toBeGreaterThan(0);
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
