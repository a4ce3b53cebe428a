// Whatever a header says, facts come out: no exception, and nothing outside what the quantity can be.
import { array, assert, constantFrom, double, oneof, property, record, string } from "fast-check";
import { expect, it } from "vitest";
import type { Card } from "../../src/read/cards.js";
import { dialects } from "../../src/read/dialects.js";
import { exposureFacts } from "../../src/read/exposure-facts.js";
import { Header } from "../../src/read/header.js";

const keywords = [
  ...Object.values(dialects).flat(),
  "TIMESYS",
  "EQUINOX",
  "CTYPE1",
  "CRVAL1",
  "CRVAL2",
  "CDELT1",
  "CUNIT1",
];
const words =
  "2024-03-10T05:06:07 10/03/99 05:06:07 -00:30:00 20:34:52 RA---TAN TAI LOCAL RGGB 3x3 11C 5min W BOTTOM-UP";
const comments = [
  "",
  "[deg]",
  "hours",
  "minutes",
  "mid-exposure",
  "end of exposure",
  "local",
  "deg F",
  "west",
  "unbinned",
  "e-/ADU",
];
const value = oneof(
  double(),
  constantFrom(0, 1, -1, 60, 1e300, -1e300, 5e-324, 45, 60379.5, 2460379.5, 1n << 80n, true, null),
  constantFrom(...words.split(" "), "", "1E999"),
  string(),
);
const card = record({ keyword: constantFrom(...keywords), value, comment: oneof(constantFrom(...comments), string()) });
const kindOf = (of: unknown): Card["kind"] =>
  typeof of === "string" ? "string" : typeof of === "boolean" ? "logical" : of === null ? "undefined" : "real";
const headers = array(array(card, { maxLength: 40 }), { minLength: 1, maxLength: 2 });

it("any cards give facts, with numbers that can be", () => {
  assert(
    property(headers, (sets) => {
      const facts = exposureFacts(
        sets.map((cards) => {
          const list = cards.map((one, at) => ({ ...one, kind: kindOf(one.value), offsetBytes: 80 * at }));
          return new Header("any.fits", list, 0, 2880);
        }),
      );
      const between = (fact: { value: number } | null, min: number, max: number) => {
        if (fact !== null) expect(fact.value >= min && fact.value <= max, JSON.stringify(facts)).toBe(true);
      };
      between(facts.exposureS, 0, 1e6);
      between(facts.raDeg, 0, 360);
      between(facts.decDeg, -90, 90);
      between(facts.pixelScaleArcsec, 0.001, 3000);
      between(facts.electronsPerAdu, Number.MIN_VALUE, Number.MAX_VALUE);
      for (const temperature of [facts.sensorTempC, facts.setTempC, facts.ambientTempC])
        between(temperature, -273.15, 100);
      if (facts.site !== null) {
        between({ value: facts.site.value.latitudeDeg }, -90, 90);
        between({ value: facts.site.value.longitudeDeg }, -180, 180);
      }
      if (facts.startUtc !== null) {
        expect(facts.startUtc.value).toMatch(/^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3,6}Z$/);
        expect(Math.abs(Date.parse(facts.startUtc.value) - facts.startUtcMs!.value)).toBeLessThanOrEqual(1);
      } else expect(facts.notes.join("\n")).toContain("the start time is not known");
    }),
    { numRuns: 2000 },
  );
});
