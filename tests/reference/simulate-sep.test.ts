// Simulated frames against SEP (detection, background, half-flux radius) and astropy (checksums, times, positions):
// python3-sep 1.2, python3-astropy 5.2. Neither shares code with the simulation.
import { spawnSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { writeFits } from "../../src/simulate/fits-writer.js";
import { ellipse } from "../../src/simulate/profile.js";
import { drawStar } from "../../src/simulate/render-stars.js";
import { parseScenario, type Scenario } from "../../src/simulate/scenario.js";
import { type SimulatedFile, simulateNight } from "../../src/simulate/simulate-night.js";
import { hasPython, python, withoutPython } from "./python.js";

const load = (name: string): Scenario =>
  parseScenario(readFileSync(new URL(`../scenarios/${name}.json`, import.meta.url), "utf8"), `${name}.json`);
const script = fileURLToPath(new URL("./simulate-sep.py", import.meta.url));

interface Measured {
  readonly checksumWarnings: readonly string[];
  readonly sources: number;
  readonly background: number;
  readonly noise: number;
  readonly hfr: number;
  readonly measured: number;
  readonly altitudeDeg: number;
  readonly azimuthDeg: number;
  readonly startIso: string;
}

const folder = mkdtempSync(join(tmpdir(), "nightyield-sep-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function measure(files: readonly Pick<SimulatedFile, "name" | "bytes">[]): Measured[] {
  const paths = files.map(({ name, bytes }, i) => {
    const path = join(folder, `${i}_${name}`);
    writeFileSync(path, bytes);
    return path;
  });
  const run = spawnSync(python, [script, ...paths], { encoding: "utf8", maxBuffer: 1 << 26 });
  if (run.status !== 0) throw new Error(run.stderr);
  return JSON.parse(run.stdout);
}

/** A night without clouds on stars alone, larger than the test scenarios, evenly lit and with no hot pixels. */
function plain(changes: { camera?: object; telescope?: object; header?: object; beta?: number }): Scenario {
  const given = load("null-night");
  const target = {
    ...given.targets["NGC 281"]!,
    glow: { kind: "none" } as const,
    starsPerDeg2AtMag12: 90,
    starSlope: 0.22,
  };
  return {
    ...given,
    site: { ...given.site, skyGradientPerDeg: 0 },
    telescope: { ...given.telescope, vignetting: 0, ...changes.telescope },
    camera: { ...given.camera, width: 800, height: 600, hotPixelFraction: 0, ...changes.camera },
    targets: { "NGC 281": target },
    header: { ...given.header, ...changes.header },
  } as Scenario;
}

const there = hasPython("sep") && hasPython("astropy");
describe.skipIf(!there)(`simulated frames and SEP${there ? "" : ` (${withoutPython("sep or astropy")})`}`, () => {
  it("without noise: every star is found, with its light and its half-flux radius", () => {
    // Twelve stars far apart on a dark frame. HFR / alpha = sqrt(2^(1/(beta - 1)) - 1) for a round Moffat profile; the pixel
    // adds a twelfth of a square pixel a dimension once in the image and once in SEP's sum over pixels.
    for (const [fwhm, beta] of [
      [3, 3],
      [5, 2.5],
      [5, 4.765],
    ] as const) {
      const [width, height] = [640, 480];
      const light = new Float32Array(width * height).fill(100);
      const profile = ellipse(fwhm, 1, 0, beta);
      for (let n = 0; n < 12; n++)
        drawStar(
          { width, height, light, mosaic: null },
          80.3 + 160.2 * (n % 4),
          79.7 + 160.4 * Math.floor(n / 4),
          2e5,
          profile,
        );
      const pixels = Uint16Array.from(light, Math.round);
      const bytes = writeFits({ pixels, width, height, cards: [] }, { compression: "rice", checksums: "yes" });
      const [seen] = measure([{ name: "stars.fits.fz", bytes }]) as unknown as {
        sources: number;
        hfr: number[];
        flux: number[];
      }[];
      const alpha = fwhm / (2 * Math.sqrt(2 ** (1 / beta) - 1));
      // The light within the 40 px (HFR: 12 px) over which SEP sums.
      const within = (r: number) => 1 - (1 + (r / alpha) ** 2) ** (1 - beta);
      const half = within(12) / 2;
      const plainHfr = alpha * Math.sqrt((1 - half) ** (1 / (1 - beta)) - 1);
      const hfr = Math.sqrt(plainHfr ** 2 + (2 * Math.LN2 * 2) / 12);
      const median = [...seen!.hfr].sort((a, b) => a - b)[6]!;
      const flux = seen!.flux.reduce((a, b) => a + b, 0) / 12 - 100 * Math.PI * 1600;
      console.log(
        `FWHM ${fwhm}, beta ${beta}: HFR ${median.toFixed(3)} (${hfr.toFixed(3)}), light ${(flux / 2e5).toFixed(4)} (${within(40).toFixed(4)})`,
      );
      expect(seen!.sources).toBe(12);
      expect(Math.abs(median / hfr - 1)).toBeLessThan(0.02);
      expect(Math.abs(flux / 2e5 - within(40))).toBeLessThan(0.005);
    }
  });

  it.each([
    ["sharp", { telescope: { opticsPx: 2 } }, "rice"],
    ["soft", { telescope: { opticsPx: 2.8, beta: 2.5 } }, "none"],
    ["shot noise alone", { camera: { readNoiseE: 0, darkEPerS: 0, electronsPerAdu: 0.3, fullWellE: 18000 } }, "rice"],
  ] as const)("%s: star count, half-flux radius, background, noise", (_, changes, compression) => {
    const scenario = plain({ ...changes, header: { compression } });
    const files = [...simulateNight(scenario, { frames: 2 })];
    const { camera } = scenario;
    for (const [i, seen] of measure(files).entries()) {
      const { truth } = files[i]!;
      const level =
        camera.offsetAdu + ((truth.skyEPerSPx + truth.darkEPerSPx) * truth.exposureS) / camera.electronsPerAdu;
      const noise = Math.sqrt(
        ((truth.skyEPerSPx + truth.darkEPerSPx) * truth.exposureS + camera.readNoiseE ** 2) /
          camera.electronsPerAdu ** 2 +
          1 / 12,
      );
      console.log(
        `${_}: sources ${seen.sources} (true ${truth.starsSnr10} to ${truth.starsSnr5}), HFR ${seen.hfr.toFixed(3)} of ${seen.measured} (${truth.hfrPx.toFixed(3)}), ` +
          `background ${seen.background.toFixed(2)} (${level.toFixed(2)}), noise ${seen.noise.toFixed(3)} (${noise.toFixed(3)})`,
      );
      // Wings of stars and faint ones below the limit lift the mean by a few hundredths of the noise.
      expect(Math.abs(seen.background - level)).toBeLessThan(0.1 * noise);
      expect(Math.abs(seen.noise / noise - 1)).toBeLessThan(0.05);
      expect(seen.measured).toBeGreaterThan(15);
      // The truth has the pixel once, SEP's sum over pixels twice: a twelfth of a square pixel a dimension more.
      const hfr = Math.sqrt(truth.hfrPx ** 2 + (2 * Math.LN2) / 12);
      expect(Math.abs(seen.hfr / hfr - 1)).toBeLessThan(0.03);
      // SEP's 5 pixels above 3 sigma lie between the ideal limits of 5 and 10, less what is blended.
      expect(seen.sources).toBeGreaterThan(0.85 * truth.starsSnr10);
      expect(seen.sources).toBeLessThan(truth.starsSnr5);
    }
  });

  it.each(["garden", "observatory"] as const)("%s headers: checksums, time and position by astropy", (dialect) => {
    const files = (["rice", "none"] as const).flatMap((compression) => [
      ...simulateNight(plain({ header: { dialect, compression } }), { frames: 2 }),
    ]);
    for (const [i, seen] of measure(files).entries()) {
      const { truth } = files[i]!;
      expect(seen.checksumWarnings).toEqual([]);
      expect(`${seen.startIso}Z`).toBe(truth.startUtc);
      // Header angles are rounded to 0.1 to 1 arcsec, UT1 - UTC is left out: 20 arcsec of azimuth in all.
      expect(Math.abs(seen.altitudeDeg - truth.altitudeDeg)).toBeLessThan(0.004);
      expect(Math.abs(seen.azimuthDeg - truth.azimuthDeg)).toBeLessThan(0.01);
    }
  });
});
