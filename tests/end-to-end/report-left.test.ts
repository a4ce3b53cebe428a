// What the report says of how much is left. Expected numbers are arithmetic: signal over noise grows with the square root
// of the exposure, so twice as deep takes four times what there is, three times more than that.
import { describe, expect, it } from "vitest";
import { leftOf } from "../../src/show/left.js";
import { calendarWords, leftLines, leftNote, leftTable } from "../../src/show/left-words.js";
import { reportHtml } from "../../src/show/report.js";
import { type FrameRow, fromRows, withColumns } from "../../src/terms/frame-table.js";
import { inventedNight, inventedSite } from "./report-night.js";

const nights = 5;
const subsANight = 60;
const exposureS = 60;
/** Five nights that are all alike: 60 subs of 60 s, one after the other, each worth 48 s. */
const table = fromRows(
  Array.from({ length: nights * subsANight }, (_, i): Partial<FrameRow> => {
    const ms = Date.UTC(2026, 0, 10 + Math.floor(i / subsANight), 19) + (i % subsANight) * exposureS * 1000;
    return {
      file: `${i}.fits`,
      kind: "light",
      target: "M 42",
      filter: "L",
      startUtc: new Date(ms).toISOString().replace("Z", ""),
      exposureS,
      width: 1000,
      height: 800,
      verdict: "keep",
      weight: 1,
      effectiveExposureS: 48,
    };
  }),
);
const site = { latitudeDeg: 47.83719, longitudeDeg: 15.41283 };

describe("how much is left", () => {
  const left = leftOf({ table, site: null });
  const [half, twice] = left.filters[0]!.steps;

  it("takes three times the nights, hours and files so far to go twice as deep, give or take", () => {
    const doneS = nights * subsANight * exposureS;
    for (const [step, more] of [
      [half!, 1.5 ** 2 - 1],
      [twice!, 3],
    ] as const) {
      expect(step.nights.p50 / (more * nights)).toBeGreaterThan(0.85);
      expect(step.nights.p50 / (more * nights)).toBeLessThan(1.25);
      expect(step.clockS.p50 / (more * doneS)).toBeGreaterThan(0.85);
      expect(step.clockS.p50 / (more * doneS)).toBeLessThan(1.15);
      // 800 000 pixels of two bytes are 556 blocks of 2880, and two blocks of header are counted.
      expect(step.bytes.p50 / (step.clockS.p50 / exposureS)).toBeCloseTo(558 * 2880, 0);
      for (const { p10, p50, p90 } of [step.nights, step.clockS, step.bytes]) {
        expect(p10).toBeLessThan(p90);
        expect(p50).toBeGreaterThanOrEqual(p10);
        expect(p50).toBeLessThanOrEqual(p90);
        expect(p90).toBeLessThan(Number.POSITIVE_INFINITY);
      }
    }
  });

  it("says so in a sentence with its range, sets no goal and no date without a place", () => {
    const [line, ...more] = leftLines(left);
    expect(more).toEqual([]);
    expect(line).toMatch(
      /^M 42 in L: 300 kept subs, 5 h, worth 4 h under the best conditions\. To go twice as deep takes about 1\d h.* of capture more \(1\d h.* to 1\d h.*\): 1\d nights like these \(1\d to 1\d\), 1\.\d+ GB of files\.$/,
    );
    expect(leftNote(left)).toContain("No goal was set");
    expect(leftNote(left)).not.toContain("mostly assumed");
    expect(left.calendars).toEqual([]);
    expect(leftTable(left)).toContain("80 %"); // 48 of 60 s
  });

  it("owns up that two nights do not tell how nights differ", () => {
    const rows = Array.from({ length: 2 * subsANight }, (_, i) => i);
    const few = withColumns(table, { kind: table.kind.map((kind, row) => (rows.includes(row) ? kind : "dark")) });
    expect(leftNote(leftOf({ table: few, site: null }))).toContain("mostly assumed");
  });

  it("gives coming nights where the place is known, and nothing finer than a tenth of a degree of it", () => {
    const exact = leftOf({ table, site });
    const coarse = leftOf({ table, site: { latitudeDeg: 47.8, longitudeDeg: 15.4 } });
    expect(exact.calendars).toEqual(coarse.calendars);
    const [calendar] = exact.calendars;
    // The night after the last one, 14 January; Orion culminates at 90 - 47.8 - 5.4 = 36.8 degrees.
    expect(calendar!.plan.windows).toHaveLength(30);
    expect(new Date(calendar!.plan.windows[0]!.noonMs).toISOString()).toMatch(/^2026-01-15T1/);
    expect(calendar!.plan.path!.highestDeg).toBeCloseTo(36.8, 0);
    expect(calendarWords(calendar!)).toMatch(
      /^M 42 is above 30\u00b0 \(a usual limit\) in the dark for \d h .* on the night of 15 January and /,
    );
    const page = reportHtml(inventedNight(120));
    expect(page).toContain("How much is left");
    expect(page).toContain('id="calendar-1"');
    for (const deg of [inventedSite.latitudeDeg, inventedSite.longitudeDeg]) expect(page).not.toContain(deg.toFixed(2));
  });

  it("foretells nothing where nothing is kept", () => {
    const dropped = withColumns(table, { verdict: table.verdict.map(() => "drop") });
    const none = leftOf({ table: dropped, site });
    expect(none.filters).toEqual([]);
    expect(leftLines(none)).toEqual(["M 42 in L: nothing is kept yet, so nothing can be foretold."]);
  });
});
