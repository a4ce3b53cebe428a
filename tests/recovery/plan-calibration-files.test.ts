// Read noise and e-/ADU of a camera whose numbers are known, through the whole pipeline: files of lights and of bias, dark and
// flat frames are measured by triageNight, and sublength says what they give and where it is from.
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, afterEach, describe, expect, it, vi } from "vitest";
import { sublength } from "../../src/cli/sublength.js";
import { type TriagedNight, triageNight } from "../../src/night.js";
import type { NoiseModel } from "../../src/plan/noise-model.js";
import { summaryJson } from "../../src/show/summary-json.js";
import { type WriteCard, writeFits } from "../../src/simulate/fits-writer.js";
import { planNight } from "../../src/simulate/frame-plan.js";
import { hotPixelsOf, renderDark, renderFlat, renderFrame, type Scene } from "../../src/simulate/render-frame.js";
import { parseScenario } from "../../src/simulate/scenario.js";
import { starField } from "../../src/simulate/star-field.js";
import { writeEcsv } from "../../src/terms/ecsv.js";
import { readScenario } from "./simulated-tables.js";

const truth = { readNoiseE: 2.2, electronsPerAdu: 0.8, darkEPerS: 0.4, offsetAdu: 400 };
/** What a user's subs have besides: rounding to whole ADU adds a variance of 1/12 ADU^2. */
const withRounding = Math.hypot(truth.readNoiseE, truth.electronsPerAdu / Math.sqrt(12));

const plain = readScenario("null-night");
const scenario = parseScenario(
  JSON.stringify({
    ...plain,
    camera: { ...plain.camera, ...truth, darkReferenceC: -5, coolingC: -5, hotPixelFraction: 0.002 },
  }),
  "calibration files",
);
const plans = planNight(scenario, scenario.nights[0]!);
const hot = hotPixelsOf(scenario);
const { width, height } = scenario.camera;
const scene: Scene = {
  stars: starField(scenario.seed, "NGC 281", scenario.targets["NGC 281"]!, 4000),
  glow: null,
  hotPixels: hot,
};

const folder = mkdtempSync(join(tmpdir(), "nightyield-calibration-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
afterEach(() => vi.restoreAllMocks());

const fits = (pixels: Uint16Array, cards: readonly WriteCard[]) =>
  writeFits(
    { pixels, width, height, cards: [{ keyword: "GAIN", value: 100 }, ...cards] },
    { compression: "none", checksums: "no" },
  );

/** Lights without a word on e-/ADU and read noise, unless `said` says one. */
function lights(said: readonly WriteCard[] = []): [string, Uint8Array][] {
  return plans
    .slice(0, 6)
    .map((plan, i) => [
      `light_${i}.fits`,
      fits(renderFrame(scenario, plan, scene).pixels, [
        { keyword: "IMAGETYP", value: "Light Frame" },
        { keyword: "OBJECT", value: "NGC 281" },
        { keyword: "FILTER", value: "L" },
        { keyword: "EXPTIME", value: 30 },
        { keyword: "DATE-OBS", value: new Date(plan.startMs).toISOString().slice(0, 19) },
        ...said,
      ]),
    ]);
}
const bias = (i: number): [string, Uint8Array] => [
  `bias_${i}.fits`,
  fits(renderDark(scenario, { ...plans[i]!, exposureS: 1e-6 }, hot), [
    { keyword: "IMAGETYP", value: "Bias Frame" },
    { keyword: "EXPTIME", value: 0 },
  ]),
];
const flat = (i: number): [string, Uint8Array] => [
  `flat_${i}.fits`,
  fits(renderFlat(scenario, plans[i]!, hot), [
    { keyword: "IMAGETYP", value: "Flat Field" },
    { keyword: "FILTER", value: "L" },
    { keyword: "EXPTIME", value: 2 },
  ]),
];
const dark = (i: number, exposureS: number, warmerC = 0): [string, Uint8Array] => [
  `dark_${exposureS}_${warmerC}_${i}.fits`,
  fits(
    // The scenario's dark current doubles every 6.3 degrees here.
    renderDark(scenario, { ...plans[i]!, exposureS, darkEPerS: truth.darkEPerS * 2 ** (warmerC / 6.3) }, hot),
    [
      { keyword: "IMAGETYP", value: "Dark Frame" },
      { keyword: "EXPTIME", value: exposureS },
      { keyword: "CCD-TEMP", value: -5 + warmerC, decimals: 1 },
    ],
  ),
];

let made = 0;
async function night(
  ...files: (readonly [string, Uint8Array])[]
): Promise<{ dir: string; result: TriagedNight; store: string }> {
  const dir = join(folder, `n${made++}`);
  mkdirSync(join(dir, "subs"), { recursive: true });
  for (const [name, bytes] of files) writeFileSync(join(dir, "subs", name), bytes);
  const store = join(dir, "store");
  const result = await triageNight([join(dir, "subs")], { store });
  writeFileSync(join(dir, "frames.ecsv"), writeEcsv(result.table));
  writeFileSync(join(dir, "summary.json"), summaryJson(result));
  return { dir, result, store };
}

async function told(
  dir: string,
  ...args: string[]
): Promise<{ text: string; noise: NoiseModel; err: string; code: number }> {
  const [out, err]: [string[], string[]] = [[], []];
  vi.spyOn(console, "log").mockImplementation((line) => void out.push(String(line)));
  vi.spyOn(console, "error").mockImplementation((line) => void err.push(String(line)));
  const code = await sublength.run([dir, ...args]);
  await sublength.run([dir, ...args, "--json"]);
  expect(out[0]).not.toMatch(/NaN|undefined|Infinity|null/);
  return { text: out[0]!, noise: (JSON.parse(out[1]!) as [{ noise: NoiseModel }])[0].noise, err: err.join("\n"), code };
}

describe("the folder's own bias, dark and flat frames", () => {
  it("bias and flats: read noise and e-/ADU within three standard errors, and sublength says where they are from", async () => {
    const { dir, result, store } = await night(...lights(), bias(0), bias(1), bias(2), flat(0), flat(1));
    const { noise, text, err, code } = await told(dir);
    const [gain, read] = [noise.electronsPerAdu!, noise.readNoiseE!];
    console.info(text.split("\n").find((line) => line.includes("noise:")));
    expect([gain.from, read.from, noise.missing]).toEqual(["flat-frames", "bias-frames", []]);
    expect(Math.abs(gain.value - truth.electronsPerAdu)).toBeLessThan(3 * gain.error!);
    expect(Math.abs(read.value - withRounding)).toBeLessThan(3 * read.error!);
    expect(read.error! / read.value).toBeLessThan(0.01);
    expect(Math.abs(noise.pedestalAdu!.value - truth.offsetAdu)).toBeLessThan(0.1);
    expect(text).toMatch(/2\.2\d? \+- 0\.0\d+ e- read noise from bias frames/);
    expect(text).toMatch(/0\.[78]\d* \+- 0\.00\d e-\/ADU from flat frames/);
    expect([err, code]).toEqual(["", 0]);
    // The first two of each kind were measured, the third bias frame was not.
    const of = (file: string) => result.table.file.indexOf(file);
    expect(result.table.note[of("bias_0.fits")]).toContain("level and noise are those of a pair with bias_1.fits");
    expect(result.table.noiseAdu[of("bias_2.fits")]).toBeNaN();
    expect(result.table.starCount[of("bias_0.fits")]).toBeNaN();
    expect(result.table.verdict[of("flat_0.fits")]).toBe("unjudged");
    expect(result.notes.join("\n")).toContain(
      "were measured as pairs, for read noise and e-/ADU: bias, flat in L of 2 s",
    );
    const [setup] = (JSON.parse(summaryJson(result)) as { setups: { camera: Record<string, unknown> }[] }).setups;
    expect(setup!.camera).toMatchObject({
      electronsPerAdu: { from: "measured", by: "flat-frames" },
      readNoiseE: { from: "measured", by: "bias-frames" },
      pedestalAdu: { from: "measured", by: "bias-frames" },
    });
    // From the store, and with two threads' order of things, the same to the last bit.
    const again = await triageNight([join(dir, "subs")], { store });
    expect(writeEcsv(again.table)).toBe(writeEcsv(result.table));
  }, 30_000);

  it("darks of two lengths, or of two temperatures, with flats: the dark current's shot noise is taken off", async () => {
    const lengths = await told(
      (await night(...lights(), dark(0, 30), dark(1, 30), dark(2, 120), dark(3, 120), flat(0), flat(1))).dir,
    );
    const temperatures = await told(
      (await night(...lights(), dark(0, 5), dark(1, 5), dark(2, 5, 12), dark(3, 5, 12), flat(0), flat(1))).dir,
    );
    for (const { noise } of [lengths, temperatures]) {
      const read = noise.readNoiseE!;
      console.info(
        `darks: ${read.value.toFixed(3)} +- ${read.error!.toFixed(3)} e-, true with rounding ${withRounding.toFixed(3)}`,
      );
      expect([read.from, read.bound, noise.readShareBound]).toEqual(["dark-frames", undefined, null]);
      expect(Math.abs(read.value - withRounding)).toBeLessThan(3 * read.error!);
    }
    expect(lengths.noise.readNoiseE!.error!).toBeLessThan(0.05 * withRounding);
    // 0.4 e-/s/px less the sky's part; the level at no exposure is the pedestal.
    expect(Math.abs(lengths.noise.pedestalAdu!.value - truth.offsetAdu)).toBeLessThan(0.5);
    expect(Math.abs(lengths.noise.darkEPerS!.value / truth.darkEPerS - 1)).toBeLessThan(0.05);
    expect(lengths.text).toContain("e- read noise from dark frames");
  }, 30_000);

  it("darks of one length give an upper bound, and it is told as one", async () => {
    const { noise, text } = await told((await night(...lights(), dark(0, 30), dark(1, 30), flat(0), flat(1))).dir);
    const read = noise.readNoiseE!;
    // Read noise and 12 e- of dark charge.
    expect([read.from, read.bound, noise.readShareBound]).toEqual(["dark-frames", "at-most", "at-most"]);
    expect(Math.abs(read.value / Math.hypot(withRounding, Math.sqrt(30 * truth.darkEPerS)) - 1)).toBeLessThan(0.02);
    expect(text).toMatch(/at most 4\.\d+ e- read noise from dark frames, whose dark current is still in it/);
    expect(text).toContain("noise: at most");
    expect(text).toContain("the low end by read noise is an upper bound");
  }, 30_000);

  it("what the headers say is used without frames, yields to them, and a clear difference is told", async () => {
    const cards = [
      { keyword: "EGAIN", value: 1.1, decimals: 2 },
      { keyword: "RDNOISE", value: 2.2, decimals: 2 },
    ];
    const bare = await told((await night(...lights(cards))).dir);
    expect(bare.noise).toMatchObject({
      electronsPerAdu: { value: 1.1, from: "headers" },
      readNoiseE: { value: 2.2, from: "headers" },
      missing: [],
    });
    expect(bare.text).toContain("1.1 e-/ADU from the headers; 2.2 e- read noise from the headers");
    const { dir } = await night(...lights(cards), bias(0), bias(1), flat(0), flat(1));
    const measured = await told(dir);
    expect(measured.noise.electronsPerAdu).toMatchObject({ from: "flat-frames", headersSay: 1.1 });
    expect(measured.text).toContain("from flat frames; the headers say 1.1");
    const flags = await told(dir, "--gain", "0.9", "--read-noise", "3");
    expect(flags.noise).toMatchObject({
      electronsPerAdu: { value: 0.9, from: "given" },
      readNoiseE: { from: "given" },
    });
  }, 30_000);

  it("one frame alone is told, copies and damaged frames are passed over, means of several are no pair", async () => {
    const [name, bytes] = bias(1);
    const mean: [string, Uint8Array] = [
      "mean.fits",
      fits(renderDark(scenario, plans[5]!, hot), [
        { keyword: "IMAGETYP", value: "Bias Frame" },
        { keyword: "EXPTIME", value: 0 },
        { keyword: "NCOMBINE", value: 20 },
      ]),
    ];
    const one = await night(...lights(), ["a.fits", bytes], ["b.fits", bytes], mean, flat(0));
    expect(one.result.notes.join("\n")).toContain(
      "of these there is one only, and noise is measured from two taken alike: bias, flat in L of 2 s",
    );
    expect(one.result.table.noiseAdu[one.result.table.file.indexOf("a.fits")]).toBeNaN();
    const cut = await night(...lights(), ["a.fits", bytes.slice(0, 30_000)], [name, bytes], bias(2));
    const { table } = cut.result;
    expect(table.kind[table.file.indexOf("a.fits")]).toBe("unreadable");
    expect(table.noiseAdu[table.file.indexOf(name)]).toBeGreaterThan(2);
  }, 30_000);
});
