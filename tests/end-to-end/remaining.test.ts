// nightyield remaining as a user calls it: several nights in two filters, the four ways to state a goal, what is missing or wrong,
// and skies without a window. Limits from stars of known magnitude: remaining-stars.test.ts.
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, afterEach, beforeAll, describe, expect, it, vi } from "vitest";
import { remaining } from "../../src/cli/remaining.js";
import { openNight } from "../../src/notebook/open-night.js";
import { type FrameTable, fromRows } from "../../src/terms/frame-table.js";
import { asked, camera, night, site, writeResult } from "./remaining-asked.js";

let folder = "";
const at = (name: string) => join(folder, name);
const put = (name: string, table: FrameTable) => writeResult(at(name), table);

/** What triage remembers beside the table. */
const summary = (name: string, json: object) => writeFileSync(join(at(name), "summary.json"), JSON.stringify(json));
const setup = (place: object | null = { raDeg: 13.2, decDeg: 56.6 }) => ({
  target: "NGC 281",
  filter: "Ha",
  exposureS: 60,
  gainSetting: 100,
  place,
  camera: {
    electronsPerAdu: { value: 1, from: "header" },
    readNoiseE: { value: 2, from: "given" },
    pedestalAdu: { value: null, from: "unknown" },
  },
});

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), "nightyield-remaining-"));
  // One triage result a night; Ha on two of three. Variances 604 and 22 ADU^2.
  put("d16", fromRows([...night(16, "Ha", Math.sqrt(22)), ...night(16, "L", Math.sqrt(604))]));
  put("d17", fromRows(night(17, "L", Math.sqrt(604))));
  put("d18", fromRows([...night(18, "Ha", Math.sqrt(22)), ...night(18, "L", Math.sqrt(604))]));
  put("ha", fromRows(night(16, "Ha", Math.sqrt(22))));
  put("deep", fromRows([20, 21, 22, 23].flatMap((day) => night(day, "Ha", Math.sqrt(22)))));
  put("galaxy", fromRows(night(16, "L", 20, { target: "M 81" })));
  put("galaxy-ha", fromRows([...night(16, "Ha", 5, { target: "M 81" }), ...night(17, "L", 20, { target: "M 81" })]));
  put("nameless", fromRows(night(16, "", 20, { target: "M 81", filterKind: "unknown" })));
  // Another target under a sky that makes twice the variance, four nights of it; the same with another gain, and lower down.
  const other = [20, 21, 22, 23].flatMap((day) => night(day, "Ha", Math.sqrt(44), { target: "NGC 7380" }));
  put("other", fromRows(other));
  put("other-gain", fromRows(other.map((row) => ({ ...row, gainSetting: 200 }))));
  put("other-low", fromRows(other.map((row) => ({ ...row, airmass: 2.2 }))));
  put("placed", fromRows(night(16, "Ha", Math.sqrt(22))));
  summary("placed", { site: { latitudeDeg: 48.21, longitudeDeg: 16.37, heightM: 0 }, setups: [setup()] });
  put("elsewhere", fromRows(night(17, "Ha", Math.sqrt(22))));
  summary("elsewhere", { site: { latitudeDeg: -33.4, longitudeDeg: 289.3, heightM: 600 }, setups: [setup()] });
  put("broken", fromRows(night(17, "Ha", Math.sqrt(22))));
  put("south", fromRows(night(16, "L", 20, { target: "LMC" })));
  put("gnome", fromRows(night(16, "L", 20, { target: "My garden gnome", startUtc: "" })));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));
afterEach(() => vi.restoreAllMocks());

const named = /^(?:d1\d|ha|deep|galaxy(?:-ha)?|nameless|other(?:-\w+)?|placed|elsewhere|broken|south|gnome)$/;
const call = (...args: string[]) => asked(args.map((arg) => (named.test(arg) ? at(arg) : arg)));

describe("nights of a target", () => {
  it("are listed by night and filter with totals and progress, and one night in two filters is one night", async () => {
    const { out, code, err } = await call("d16", "d17", "d18", ...camera, ...site, "--goal-hours", "3");
    // 60 x 54 s are 0.90 h of 60 x 60 s; of 3 h, 1.8 are 60 % and 2.7 are 90 %.
    const table = out.slice(out.indexOf("NGC 281: 3 nights")).split("\n").slice(0, 7);
    expect(table.map((line) => line.trim().split(/ {2,}/))).toEqual([
      ["NGC 281: 3 nights, effective of kept hours"],
      ["night", "Ha", "L", "all", "subs kept"],
      ["2025-10-16", "0.90 of 1.00", "0.90 of 1.00", "1.80 of 2.00", "120 of 120"],
      ["2025-10-17", "-", "0.90 of 1.00", "0.90 of 1.00", "60 of 60"],
      ["2025-10-18", "0.90 of 1.00", "0.90 of 1.00", "1.80 of 2.00", "120 of 120"],
      ["total", "1.80 of 2.00", "2.70 of 3.00", "4.50 of 5.00", "300 of 300"],
      ["goal", "60 % of 3.00", "90 % of 3.00"],
    ]);
    expect(out).toContain("goal: 3 h (effective integration); still 1.2 h effective");
    // Variance a second 604 / 60 against 22 / 60 on the lines of an emission nebula: 27.
    expect(out).toContain("L takes about 27 times as long as Ha");
    expect(out).toContain("Never point a telescope at or near the Sun");
    expect([code, err]).toEqual([0, ""]);
  });

  it("one night only, one filter only: the answer says what it rests on", async () => {
    const { out, code } = await call("ha", ...camera, ...site, "--deeper", "2");
    expect(out).toContain("1 night, keep rate");
    expect(out).toContain("mostly assumed: fewer than three nights");
    expect(out).toContain("goal: 3.6 h (2 times the signal over noise of now, which takes 4 times the integration)");
    expect(out).toContain("you use Ha: that fits");
    expect(code).toBe(0);
  });

  it("the same as JSON", async () => {
    vi.spyOn(console, "error").mockImplementation(() => {});
    const lines: string[] = [];
    vi.spyOn(console, "log").mockImplementation((text) => void lines.push(String(text)));
    await remaining.run([at("d16"), at("d17"), "--json"]);
    const [ha] = JSON.parse(lines.join("\n"));
    expect(ha.log.total).toMatchObject({ subs: 180, effectiveS: 180 * 54 });
    expect(ha.filterAdvice).toMatchObject({ kind: "emission-nebula", wanted: "narrowband" });
    expect(ha.alignmentStars.map(({ filter }: { filter: string }) => filter)).toEqual(["Ha", "L"]);
  });
});

describe("goals", () => {
  it("like a reference stack: same set-up, its effective integration; a filter it lacks is told", async () => {
    const { out, err, code } = await call("d16", "--like", "deep", ...camera, ...site);
    expect(out).toContain("goal: 3.6 h (as deep as the reference stack); still 2.7 h effective");
    expect(err).toBe(`attention: --like ${at("deep")} has no subs in L: no goal for it`);
    expect(code).toBe(1);
    await expect(call("galaxy", "--like", "ha")).rejects.toThrow(/has no subs in L/);
  });

  it("like another target's stack: its hours are carried over by noise and air, and what prevents that is told", async () => {
    // Twice the variance: 3.6 h there are worth 1.8 h here.
    const { out, err, code } = await call("ha", "--like", "other", ...camera, ...site);
    expect(out).toContain("goal: 1.8 h (as deep as the stack of NGC 7380: its 3.6 h are worth so much here");
    expect([err, code]).toEqual(["", 0]);
    // One airmass more of 0.28 mag: light to the power of two, 10^(-0.8 x 0.28) = 0.597; of 1.8 h 1.07 h.
    const low = await call("ha", "--like", "other-low", ...camera, ...site);
    expect(low.out).toContain("goal: 1.07 h (as deep as the stack of NGC 7380");
    const gain = await call("ha", "--like", "other-gain", ...camera, ...site);
    expect(gain.err).toBe(
      "attention: Ha: the stacks of NGC 281 and NGC 7380 differ in gain, so an hour of one is taken for an hour of the other",
    );
    expect(gain.out).toContain("goal: 3.6 h (as deep as the stack of NGC 7380");
  });

  it("signal over noise on a surface brightness: by hand, and what it asks for", async () => {
    // 0.3 e-/s/px of background ((22 - 4) / 60), 4 arcsec2 a px; 24 mag with zero point 22: s = 4 x 10^-0.8 = 0.63396 e-/s/px.
    // T = 25 (0.63396 + 0.3 + 4 / 60) / 0.63396^2 = 62.2 s; ten times the signal over noise a hundredfold: 6224 s = 1.73 h.
    const goal = ["--goal-snr", "50", "--surface-mag", "24"];
    const { out } = await call("ha", ...camera, ...site, ...goal, "--zero-point", "22");
    expect(out).toContain("goal: 1.73 h (signal over noise 50 a pixel on 24 mag/arcsec2); still");
    expect(out).toMatch(/reached: stars of \d\d\.\d+ mag at 5 sigma/);
    expect((await call("ha", ...site, ...goal, ...camera)).err).toContain(
      "--goal-snr needs a zero point: --zero-point MAG",
    );
    const bare = await call("ha", ...site, ...goal, "--zero-point", "22");
    expect(bare.err).toContain("--goal-snr needs --gain E_PER_ADU and --read-noise E");
    expect(bare.out).not.toContain("reached: stars");
    const limits = await call("ha", ...site, "--goal-hours", "9", "--zero-point", "22");
    expect(limits.err).toContain("limits in magnitudes need --gain E_PER_ADU and --read-noise E");
    await expect(call("ha", "--goal-snr", "5")).rejects.toThrow(/--surface-mag/);
  });

  it("reached already, and out of reach", async () => {
    const done = await call("ha", ...camera, ...site, "--goal-hours", "0.5");
    expect(done.out).toContain("goal: 0.5 h (effective integration): reached");
    expect(done.out).toContain("180 % of 0.50");
    expect(done.code).toBe(0);
    const far = await call("ha", ...camera, ...site, "--goal-hours", "5000", "--card-gb", "1");
    expect(far.out).toContain("not within the 8 nights looked at; chance within 8 nights: 0 %");
    expect(far.err).toContain("more than the nights looked at bring, the card has 1 GB");
  });
});

describe("place and camera that triage remembered", () => {
  const dates = ["--from", "2025-10-20", "--nights", "8", "--goal-hours", "3"];
  it("are taken when no flag gives them, and their origin is told", async () => {
    const { out, err, code } = await call("placed", ...dates);
    expect([err, code]).toEqual(["", 0]);
    expect(out).toContain("place: 48.2 N, 16.4 E, from placed (--site gives another)");
    expect(out).toContain("camera: 1 e-/ADU from the headers; 2 e- read noise as given to triage");
    expect(out).toMatch(/2025-10-20 +\d\d:\d\d/);
    // The same windows as by the flag; the flag wins, and then there is nothing to tell.
    const flag = await call("placed", ...dates, "--site", "48.21,16.37", ...camera);
    const windows = (text: string) => text.split("\n").filter((line) => /^ {4}2025-/.test(line));
    expect(windows(flag.out)).toEqual(windows(out));
    expect(flag.out).not.toMatch(/^(?:place|camera):/m);
    const south = await call("placed", ...dates, "--site", "-33.4,-70.7");
    // Declination 56.6 degrees.
    expect(south.out).toContain("the target never rises at this place");
  });
  it("openNight gives them too", async () => {
    const { site: place, setups } = await openNight(at("placed"));
    expect(place).toEqual({ latitudeDeg: 48.21, longitudeDeg: 16.37, heightM: 0 });
    expect(setups).toEqual([{ ...setup(), camera: { ...setup().camera, pedestalAdu: expect.anything() } }]);
  });
  it("the coordinates of the headers serve where no table knows the name", async () => {
    put("garden", fromRows(night(16, "Ha", 5, { target: "Behind the shed" })));
    summary("garden", {
      site: { latitudeDeg: 48.21, longitudeDeg: 16.37, heightM: 0 },
      setups: [{ ...setup(), target: "Behind the shed" }],
    });
    const { out, err } = await call(at("garden"), ...dates);
    expect(out).toMatch(/2025-10-20 +\d\d:\d\d/);
    expect(err).not.toContain("--target RA,DEC");
  });
  it("two places: the first is planned for, and it is told", async () => {
    const { out, err } = await call("placed", "elsewhere", ...dates);
    expect(out).toContain("place: 48.2 N, 16.4 E, from placed");
    expect(err).toMatch(/placed and \S+elsewhere were taken at two places; the first is planned for/);
    expect((await call("elsewhere", ...dates)).out).toContain("place: 33.4 S, 70.7 W, from elsewhere");
  });
  it("a summary that was spoiled is refused with file, place and what was expected", async () => {
    const wrong: [object, RegExp][] = [
      [
        { site: { latitudeDeg: 120, longitudeDeg: 0, heightM: 0 } },
        /summary\.json: site\.latitudeDeg is 120, expected a number from -90 to 90/,
      ],
      [{ site: "48.2,16.4" }, /'site' is no object/],
      [
        { setups: [{ ...setup(), camera: { electronsPerAdu: { value: -1, from: "header" } } }] },
        /electronsPerAdu\.value is -1/,
      ],
      [{ setups: [{ ...setup(), place: { raDeg: 400, decDeg: 0 } }] }, /setups\[0\]\.place\.raDeg is 400/],
      [{ setups: [{ ...setup(), camera: { readNoiseE: { value: 2, from: "hearsay" } } }] }, /from is "hearsay"/],
    ];
    for (const [json, says] of wrong) {
      summary("broken", json);
      await expect(call("broken", ...dates)).rejects.toThrow(says);
    }
    // An older version's summary knows none of it.
    summary("broken", { folders: ["x"] });
    expect((await call("broken", ...dates)).err).toContain("for dates and windows give --site LAT,LON");
  });
});

describe("what is missing or wrong", () => {
  it("a narrowband filter on a galaxy: what it costs by the sky measured, and a warning where it is alone", async () => {
    const { out, err, code } = await call("galaxy-ha", ...camera, ...site, "--goal-hours", "2");
    expect(out).toContain("M 81, filters: a galaxy, its light has all colours: a broadband filter is the usual choice");
    expect(out).toContain("you use L: that fits");
    // Of light of all colours each filter passes as it does the sky: variances less read noise 21 and 396 in 60 s.
    // Time goes as variance / light^2: (25 / 21^2) / (400 / 396^2) = 22.
    expect(out).toContain("for the same signal over noise on its light, Ha takes about 22 times");
    // Beside the usual choice a narrow filter may be wanted (a galaxy's nebulae): no warning, but its cost is told.
    expect([err, code]).toEqual(["", 0]);
    const alone = await call("ha", ...camera, ...site, "--target", "M 81", "--goal-hours", "2");
    expect(alone.err).toContain(
      "Ha is a narrowband filter, but for this kind of object a broadband filter is the usual",
    );
  });

  it("a filter that no header names, and nothing given at all: an answer, and each request once", async () => {
    const { out, err, code } = await call("nameless");
    expect(out).toContain("M 81, no filter: 0.9 h effective of 1 h kept");
    expect(err.split("\n")).toEqual([
      "attention: no goal was given: --goal-hours H, --deeper FACTOR, --like DIR or --goal-snr N",
      "attention: for dates and windows give --site LAT,LON",
      'attention: M 81: what filter was used is not in the headers; a --site-file with "filter" says it to triage',
    ]);
    expect(code).toBe(1);
  });

  it("no site: nights are counted; no camera: bounds, and a request", async () => {
    const { out, err, code } = await call("galaxy", "--goal-hours", "2");
    expect(err).toBe("attention: for dates and windows give --site LAT,LON");
    expect(out).toMatch(/nights: \d+, \d+, \d+ \(10, 50, 90 %\)/);
    expect(code).toBe(1);
    const wrong = await call("galaxy", "--goal-hours", "2", "--target", "NGC 281", ...site);
    expect(wrong.out).toContain("L takes at most");
    expect(wrong.out).toContain("--gain E_PER_ADU and --read-noise E");
    expect(wrong.err).toContain("L is a broadband filter, but for this kind of object a narrowband filter");
  });

  it("an object that no table knows, subs without a time", async () => {
    const { out, err } = await call("gnome", "--goal-hours", "2", ...site);
    expect(err).toContain("'My garden gnome' is not in the table of deep-sky objects: give --target RA,DEC");
    expect(err).toContain("so no filter can be advised: give --target NAME");
    expect(out).toContain("no time");
  });

  it("flags that make no sense are refused", async () => {
    await expect(call("ha", "--align-exposure", "0")).rejects.toThrow(/--align-exposure is '0'/);
    await expect(call("ha", "--narrowband-nm", "x")).rejects.toThrow(/--narrowband-nm/);
    await expect(call("ha", "--stars", "list.csv")).rejects.toThrow(/--stars-sub SUB.fits belong together/);
    await expect(call("ha", "--zero-point", "20", "--stars", "a", "--stars-sub", "b")).rejects.toThrow(/not both/);
    await expect(call("ha", "--sun-below", "-3", ...site)).rejects.toThrow(/--sun-below/);
  });
});

describe("skies", () => {
  const from = (where: string, date: string) => ["--site", where, "--from", date, "--nights", "5", "--goal-hours", "2"];
  it("polar summer: no window, the Sun does not set", async () => {
    const { out } = await call("galaxy", ...from("69.65,18.96", "2026-06-20"));
    expect(out).toContain("no window in 5 nights: it does not get dark enough (the Sun does not set)");
    expect(out).toContain("Never point a telescope at or near the Sun");
  });
  it("a northern June: too bright by the usual limit, and which flag allows more", async () => {
    const { out } = await call("galaxy", ...from("55,10", "2026-06-20"));
    expect(out).toMatch(
      /it does not get dark enough \(the Sun sinks to -11\.\d degrees at most; --sun-below allows more\)/,
    );
    const more = await call("galaxy", ...from("55,10", "2026-06-20"), "--sun-below", "-9");
    expect(more.out).toMatch(/2026-06-20 +\d\d:\d\d/);
  });
  it("polar night: dark all day; circumpolar: never sets", async () => {
    const { out } = await call("galaxy", ...from("85,0", "2026-12-20"));
    expect(out.match(/dark all day/g)).toHaveLength(5);
    // M 81 at declination 69: at latitude 85 between 64 and 74 degrees.
    expect(out).toContain("the target never sets at this place (64 to 74 degrees, always above 30 degrees)");
  });
  it("never rising, and too low for the limit", async () => {
    const south = await call("south", ...from("48.2,16.4", "2026-12-20"));
    expect(south.out).toContain("the target never rises at this place");
    const low = await call("galaxy", ...from("48.2,16.4", "2026-12-20"), "--target", "11.888,-25.288");
    expect(low.out).toContain("the target never reaches that altitude at this place");
  });
});

describe("calendar", () => {
  it("holds the nights once each, with the caution, and names do not collide", async () => {
    const file = join(folder, "plan.ics");
    await call("d16", ...site, "--goal-hours", "3", "--ics", file);
    const text = readFileSync(file, "utf8").replaceAll("\r\n ", "");
    const uids = [...text.matchAll(/^UID:(.+)\r$/gm)].map(([, uid]) => uid);
    expect(uids).toHaveLength(16);
    expect(new Set(uids).size).toBe(16);
    expect(uids[0]).toBe("ngc%20281-ha-2025-10-20@nightyield");
    expect(text.match(/Never point a telescope at or near the Sun/g)).toHaveLength(16);
    await expect(call("d16", "--ics", file)).rejects.toThrow(/--ics needs windows/);
  });
});
