// nightyield sublength as a user calls it: on a triage of a sample night, and on subs whose numbers are set by hand.
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, afterEach, beforeAll, describe, expect, it, vi } from "vitest";
import { sublength } from "../../src/cli/sublength.js";
import { triageNight } from "../../src/night.js";
import { writeEcsv } from "../../src/terms/ecsv.js";
import { type FrameTable, fromRows } from "../../src/terms/frame-table.js";

let folder = "";
const put = (name: string, table: FrameTable) => {
  mkdirSync(join(folder, name), { recursive: true });
  writeFileSync(join(folder, name, "frames.ecsv"), writeEcsv(table));
};

/** Six hours of 10 s subs without a pause: read noise 4 e-, and a sky under which 5 % of noise asks for just 15 s. */
const skyEPerS = 16 / (15 * (1.05 ** 2 - 1));
const tenSeconds = () =>
  fromRows(
    Array.from({ length: 2160 }, (_, i) => ({
      kind: "light",
      verdict: "keep",
      target: "M 33",
      filter: "L",
      startUtc: new Date(Date.UTC(2025, 9, 16, 19) + 10_000 * i).toISOString(),
      exposureS: 10,
      gainSetting: 100,
      width: 1920,
      height: 1080,
      backgroundAdu: 500,
      noiseAdu: Math.sqrt(10 * skyEPerS + 16),
      fwhmPx: 2.5,
      eccentricity: 0.3,
      shiftXPx: 0,
      shiftYPx: 0,
      rotationDeg: 0,
      airmass: 1.2,
      backgroundGradient: 0.1,
      starCount: 200,
      transparency: 1,
      weight: 0.9,
      effectiveExposureS: 9,
    })),
  );

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), "nightyield-sublength-"));
  put("ten", tenSeconds());
  const night = fileURLToPath(new URL("../../sample-data/nights/2025-10-27", import.meta.url));
  put("sample", (await triageNight([night], {})).table);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));
afterEach(() => vi.restoreAllMocks());

async function call(...args: string[]) {
  const [out, err]: [string[], string[]] = [[], []];
  vi.spyOn(console, "log").mockImplementation((text) => void out.push(String(text)));
  vi.spyOn(console, "error").mockImplementation((text) => void err.push(String(text)));
  const [dir, ...flags] = args;
  return { code: await sublength.run([join(folder, dir!), ...flags]), out: out.join("\n"), err: err.join("\n") };
}

describe("nightyield sublength", () => {
  it("from 10 s to 15 s saves a third of the files (common practice, no source)", async () => {
    const { out, code } = await call("ten", "--gain", "1", "--read-noise", "4", "--mount", "equatorial");
    expect(code).toBe(0);
    expect(out).toContain("use 15 s or longer; the present is shorter");
    expect(out).toContain("low end: 15 s, below it read noise adds more than 5 % to the noise");
    expect(out).toContain("high end: nothing measured speaks against longer subs");
    // 6 h: 2160 files of 10 s, of which 2 / 3 are 1440.
    expect(out).toMatch(/files: 2160 a night, 8\.97 GB; at 15 s 1440, 5\.98 GB/);
    // Read noise takes 16 of 16 + 10 F: tau / (t + tau), tau = 15 x 0.1025.
    expect(out).toContain("13 % to read noise");
    expect(out).toContain("none seen");
    // Alike subs without pauses: 20 s gain only the read noise saved, sqrt((1 + tau/10) / (1 + tau/20)) = 1.035.
    expect(out).toMatch(/^ +20 s +100 \(\d+-100\) +2\.50 px +- +10[34] /m);
    expect(out).not.toMatch(/NaN|undefined| - %/);
  });

  it("a selection of a night: its subs are added up, and what that cannot tell is said", async () => {
    const { out, err, code } = await call("sample", "--gain", "1.3", "--read-noise", "1.7");
    console.info(out);
    expect(code).toBe(0);
    expect(err).toBe("");
    expect(out).toMatch(/^NGC 891, L: now 30 s\n {2}use /);
    expect(out).toContain("tried on your subs, added up");
    // 1, 2, 3 and 4 at a time.
    for (const subS of [30, 60, 90, 120]) expect(out).toMatch(new RegExp(`^ +${subS} s +\\d+ \\(\\d+-\\d+\\)`, "m"));
    expect(out).toContain("the parts lie 360 s apart");
    expect(out).toContain("pauses between subs: not known");
    expect(out).not.toMatch(/NaN|undefined| - %/);
    for (const line of out.split("\n")) expect(line.length, line).toBeLessThan(150);
    const told = await call("sample", "--gain", "1.3", "--read-noise", "1.7", "--overhead", "2");
    expect(told.out).not.toContain("pauses between subs: not known");
    expect(told.out).toContain("6.3 % to pauses");
    // An hour holds 3600 / 32 subs of 30 s.
    expect(told.out).toMatch(/^ +30 s .* 11[23]$/m);
  });

  it("asks for what is missing, and says what it can without", async () => {
    const { out, err, code } = await call("sample");
    expect(code).toBe(1);
    expect(err).toContain("--read-noise E");
    expect(out).toContain("low end: not known without the read noise");
    expect(out).toContain("use up to ");
    expect(out).not.toMatch(/NaN|undefined| - %/);
    await expect(call("sample", "--overhead", "x")).rejects.toThrow(/--overhead is 'x'/);
  });
});
