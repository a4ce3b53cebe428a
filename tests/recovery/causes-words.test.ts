// Sentences about causes and drivers. Expected texts are written by hand; the numbers in them by mental arithmetic.
import { describe, expect, it } from "vitest";
import type { Advice } from "../../src/explain/advice-terms.js";
import type { CauseEvidence, EvidenceCode, SubCause } from "../../src/explain/causes-terms.js";
import { driversOf } from "../../src/explain/drivers.js";
import type { DriverOutcome, Drivers, LawCheck } from "../../src/explain/drivers-terms.js";
import type { Episode } from "../../src/explain/episodes.js";
import type { GroupSensor } from "../../src/explain/sensor.js";
import {
  adviceLine,
  causeRows,
  driverLines,
  episodeLine,
  lawLine,
  sensorLines,
  subLine,
} from "../../src/show/causes-words.js";
import { frameTable } from "../../src/terms/frame-table.js";

const moonlight: LawCheck = {
  law: "moonlight",
  metric: "background",
  filter: "L",
  exposureS: 30,
  estimate: 450,
  interval: { low: 400, high: 500 },
  levelAdu: 900,
  predicted: { low: 0, high: 5000 },
  p: 1e-9,
  adjustedP: 1e-9,
  claimed: true,
  from: 0,
  to: 120,
  subs: 80,
  nights: 1,
};
const airmass: LawCheck = {
  ...moonlight,
  law: "airmass",
  metric: "fwhm",
  filter: "",
  exposureS: Number.NaN,
  levelAdu: Number.NaN,
  estimate: 1,
  interval: { low: 0.5, high: 1.5 },
  from: 1,
  to: 2,
};
const none: Drivers = driversOf(frameTable(0));
const outcome: DriverOutcome = {
  kind: "finding",
  metric: "fwhm",
  factors: [{ code: "altitude", step: 10 }],
  hourFitsAsWell: true,
  effect: {
    estimate: Math.log(0.89),
    interval: { low: Math.log(0.8), high: Math.log(0.95) },
    p: 0.01,
    adjustedP: 0.02,
    partialSpearman: -0.4,
    subs: 80,
    nights: 2,
    effectiveSubs: 30,
  },
};

describe("drivers in words", () => {
  it("tell a law with its size, its interval and what it rests on", () => {
    expect(lawLine(moonlight)).toBe(
      "background with L, 30 s: moonlight adds up to 450 ADU (90 %: 400 to 500), to 1.5 times its level, with the course that is predicted; 80 subs, 1 night",
    );
    expect(lawLine(airmass)).toBe(
      "star width grows as the airmass to the power 1 (90 %: 0.5 to 1.5; 0.6 is expected): +100 % from airmass 1 to 2; 80 subs, 1 night",
    );
  });
  it("tell only what is claimed, and say when there is nothing more or nothing at all", () => {
    const tested: Drivers = { ...none, because: null };
    expect(driverLines(none)).toEqual(["too few subs to say what quality goes with (20 are needed)"]);
    expect(driverLines(tested)).toEqual(["quality goes with nothing that was tested"]);
    expect(driverLines({ ...tested, laws: [{ ...moonlight, claimed: false }] })).toEqual([
      "quality goes with nothing that was tested",
    ]);
    expect(driverLines({ ...tested, laws: [moonlight] })).toEqual([
      lawLine(moonlight),
      "beyond that, quality goes with nothing that was tested",
    ]);
    expect(driverLines({ ...tested, outcomes: [outcome] })).toEqual([
      "target 10° higher: width of the stars −11 % (90 %: −20 % to −5.0 %); 80 subs, 2 nights; the hour fits as well, so whatever else changed steadily may be the reason",
    ]);
    const odds = { ...outcome.effect, estimate: Math.log(12), interval: { low: 0, high: Number.POSITIVE_INFINITY } };
    expect(
      driverLines({ ...tested, outcomes: [{ ...outcome, metric: "rejects", hourFitsAsWell: false, effect: odds }] }),
    ).toEqual(["target 10° higher: odds of being dropped 12 times (90 %: 0.0 % to without limit); 80 subs, 2 nights"]);
  });
});

describe("causes in words", () => {
  const episode: Episode = {
    cause: "low-altitude",
    night: 0,
    startUtc: "2025-10-20T20:42:00Z",
    endUtc: "2025-10-20T21:30:00Z",
    rows: [3, 4, 5],
    dropped: 2,
    costS: 180,
    probability: 0.61,
  };
  it("name the rival where there is one", () => {
    expect(episodeLine(episode)).toBe(
      "2025-10-20 20:42-21:30 UTC  low altitude: 3 subs, 2 dropped, 3 min of effective exposure lost (61 % sure)",
    );
    expect(episodeLine({ ...episode, rival: { cause: "moonlight", probability: 0.3 } })).toContain(
      "(61 % sure, else moonlight 30 %)",
    );
  });
  it("count files that could not be read as such, and tell short times in seconds", () => {
    expect(
      episodeLine({ ...episode, cause: "bad-file", startUtc: "", endUtc: "", rows: [1, 2], dropped: 0, costS: 58 }),
    ).toBe("time not known  bad file: 2 files could not be read, 58 s of effective exposure lost");
  });
  it("tell a sub's evidence with the plain fact first, and only rivals that matter", () => {
    const evidence = (code: EvidenceCode, strength: number, value: number, usual: number): CauseEvidence => ({
      code,
      cause: "cloud",
      speaks: "for",
      value,
      usual,
      strength,
      column: null,
    });
    const sub: SubCause = {
      row: 0,
      cause: "cloud",
      probability: 0.93,
      ranked: [
        { cause: "cloud", probability: 0.93 },
        { cause: "dew", probability: 0.03 },
      ],
      losses: { light: 1, noise: 0, air: 0, width: 0, elongation: 0, blocked: 0, shift: 0, streak: 0 },
      evidence: [
        evidence("minutes-to-dim", 2.5, 5, 25),
        evidence("wider-as-dimmer", 2, 0.016, 0.17),
        evidence("loss-changes-from-sub-to-sub", 1.5, 0.3, 0.12),
        evidence("light-lost", 1, 0.61, 1),
        { ...evidence("width-grows-with-loss", 0.5, 0.9, 0.5), speaks: "against" },
      ],
    };
    const pro =
      "starlight at 61 %; the light took 5 min to go; stars stay sharp: width costs 2 % as much as the light lost (dew: more than 17 %)";
    const contra = "width and loss of light rise and fall together (correlation 0.9)";
    expect(subLine("a.fits", "drop", sub)).toBe(`a.fits  drop  cloud (93 %). For it: ${pro}. Against it: ${contra}`);
    expect(causeRows(sub)).toEqual([
      { cause: "cloud", probabilityPercent: 93, for: pro, against: contra },
      { cause: "dew", probabilityPercent: 3, for: "", against: "" },
    ]);
  });
  it("say of advice what it gains, and how sure its cause is when it is not plain", () => {
    const advice: Advice = {
      cause: "dew",
      reason: { kind: "heat-against-dew", fromUtc: "2025-10-20T01:10:00Z" },
      subs: 7,
      gainMin: 22,
      probability: 0.95,
    };
    expect(adviceLine(advice)).toBe(
      "heat the optics against dew from before 01:10 UTC: +22 min of effective exposure (7 subs)",
    );
    expect(adviceLine({ ...advice, probability: 0.6 })).toContain(
      "+22 min of effective exposure (7 subs, the cause 60 % sure)",
    );
  });
  it("give dark noise, and what cooling saves, with their errors", () => {
    const group: GroupSensor = {
      target: "T",
      filter: "L",
      exposureS: 60,
      darkNoise: {
        intervalC: 6.3,
        errorC: 0.42,
        subs: 90,
        fromC: 10,
        toC: 24,
        varianceAdu2: 30,
        ends: [
          { intervalC: 5.9, varianceAdu2: 30, fromC: 10 },
          { intervalC: 6.7, varianceAdu2: 30, fromC: 10 },
        ],
      },
      hotPixels: null,
      coolingSavesS: 1440,
      coolingSavesErrorS: 120,
      coolC: 0,
    };
    expect(sensorLines(group)).toEqual([
      "L, 60 s: dark noise doubles every 6.3 +- 0.42 °C (90 subs, 10 to 24 °C); had the sensor stood at 0 °C, 24 +- 2 min more of effective exposure",
    ]);
  });
});
