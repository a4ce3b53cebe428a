// Words for numbers. Expected texts are written by hand from the design ("stars 5.1 px wide, limit 4.1 px") and by mental
// arithmetic (8040 s = 2 h 14 min).
import { describe, expect, it } from "vitest";
import { startMs } from "../../src/show/chart-rows.js";
import { sunPhaseOf, sunPhases } from "../../src/show/sun-bands.js";
import { verdictLooks } from "../../src/show/verdict-look.js";
import { dayWords, durationWords, numberWords, symptomWords, verdictWords } from "../../src/show/words.js";
import type { ColumnName } from "../../src/terms/frame-table.js";
import { type MeasuredSymptom, type Symptom, symptomCodes } from "../../src/terms/symptoms.js";
import { verdicts } from "../../src/terms/verdicts.js";

const measured = (
  code: MeasuredSymptom["code"],
  column: ColumnName,
  value: number,
  expected: number,
  limit: number,
): Symptom => ({ code, column, value, expected, limit });

const said: readonly [Symptom, string][] = [
  [measured("few-stars", "starCount", 118, 640.4, 384.2), "118 stars, 640 expected, limit 384"],
  [measured("faint-stars", "transparency", 0.42, 1, 0.75), "starlight at 42 % of the clearest subs, limit 75 %"],
  [
    measured("bright-background", "backgroundAdu", 8790, 2730, 3139.5),
    "background 8\u202f790 ADU, 2\u202f730 expected, limit 3\u202f140",
  ],
  [
    measured("noisy-background", "noiseAdu", 31.24, 24, 27.6),
    "background scatters by 31.2 ADU, 24 expected, limit 27.6",
  ],
  [
    measured("uneven-background", "backgroundGradient", 5.13, 1.2, 2),
    "background changes across the frame by 5.13 times its noise, 1.20 expected, limit 2",
  ],
  [measured("wide-stars", "fwhmPx", 5.1, 3.2, 4.1), "stars 5.10 px wide, 3.20 expected at this altitude, limit 4.10"],
  [
    measured("wide-stars", "fwhmPx", 2.85, 2.84, 2.06),
    "stars 2.85 px wide, as they are at this altitude (2.84); from 2.06 they cost the stack more than they give",
  ],
  [
    measured("elongated-stars", "eccentricity", 0.72, 0.4, 0.6),
    "stars drawn out, eccentricity 0.720, 0.400 expected, limit 0.600",
  ],
  [
    measured("rotated-corners", "rotationBlurPx", 2.34, Number.NaN, 1.5),
    "stars drawn out around the centre by 2.34 px, limit 1.50",
  ],
  [measured("streak", "streaks", 2, 0, 1), "2 bright lines across the frame"],
  [measured("saturated", "saturatedFraction", 0.12, 0, 0.02), "12 % of the frame at the sensor's limit, limit 2.0 %"],
  [measured("blocked-area", "blockedFraction", 0.3, 0, 0.05), "30 % of the frame without stars and sky, limit 5.0 %"],
  [measured("shifted-field", "shiftXPx", 512.3, 0, 464.4), "field shifted by 512 px, limit 464"],
  [
    { code: "unreadable", offsetBytes: 80, problem: "BITPIX is 15", remedy: "Copy the file again" },
    "at byte 80: BITPIX is 15. What to do: Copy the file again",
  ],
];

describe("words", () => {
  it("every symptom has words with its numbers", () => {
    for (const [symptom, words] of said) expect(symptomWords(symptom)).toBe(words);
    expect(new Set(said.map(([{ code }]) => code))).toEqual(new Set(symptomCodes));
  });

  it("a value that is not known leaves no NaN behind", () => {
    for (const [symptom] of said)
      if (symptom.code !== "unreadable")
        expect(symptomWords({ ...symptom, expected: Number.NaN, limit: Number.NaN })).not.toMatch(
          /NaN|undefined|limit \D/,
        );
  });

  it("durations and numbers", () => {
    const durations = [8040, 45, 7.5, 720, 3600, 3599, 100 * 3600, Number.NaN].map(durationWords);
    expect(durations).toEqual(["2 h 14 min", "45 s", "7.5 s", "12 min", "1 h", "1 h", "100 h", "not known"]);
    expect([0, 7, -12.34, 0.0421, 123456.7, Number.NaN].map(numberWords)).toEqual([
      "0",
      "7",
      "-12.3",
      "0.042",
      "123\u202f457",
      "not measured",
    ]);
    expect(dayWords("2026-08-19T18:40:00.000")).toBe("19 August 2026");
  });

  it("every verdict has words, and a shape and a sign of its own", () => {
    for (const verdict of verdicts) expect(verdictWords[verdict].length).toBeGreaterThan(10);
    expect(new Set(verdicts.map((verdict) => verdictLooks[verdict].symbol)).size).toBe(verdicts.length);
    expect(new Set(verdicts.map((verdict) => verdictLooks[verdict].sign)).size).toBe(verdicts.length);
  });

  it("the sky has its names by the Sun's altitude (0.83, 6, 12 and 18 degrees below the horizon)", () => {
    const name = (deg: number) => sunPhases[sunPhaseOf(deg)]?.name;
    expect([3, -0.5, -3, -9, -15, -21, Number.NaN].map(name)).toEqual([
      "day",
      "day",
      "civil twilight",
      "nautical twilight",
      "astronomical twilight",
      "night",
      undefined,
    ]);
  });

  it("a time without zone is UTC", () => {
    expect(startMs("2026-08-19T18:40:00")).toBe(Date.UTC(2026, 7, 19, 18, 40));
    expect(startMs("2026-08-19T20:40:00+02:00")).toBe(Date.UTC(2026, 7, 19, 18, 40));
    expect(startMs("")).toBeNaN();
  });
});
