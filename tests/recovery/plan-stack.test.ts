// Depth predicted from the table against the stack itself: subs of a simulated night, scaled to equal starlight, moved by whole
// pixels and averaged; the noise is then measured on the average. Limits in magnitudes against the scenario's own zero point.
import { describe, expect, it } from "vitest";
import { gradeNight } from "../../src/grade/grade-night.js";
import { median } from "../../src/numbers/quantiles.js";
import { limitingMagnitude, noiseFwhmPx } from "../../src/plan/ccd-equation.js";
import { depthReached, noiseFall, stackLimits } from "../../src/plan/depth.js";
import { noiseModels } from "../../src/plan/noise-model.js";
import { memoryBytes } from "../../src/read/file-bytes.js";
import { firstImage, openPixels } from "../../src/read/hdu.js";
import { planNight } from "../../src/simulate/frame-plan.js";
import { parseScenario } from "../../src/simulate/scenario.js";
import { trueShape } from "../../src/simulate/true-shape.js";
import { readScenario, simulatedTable } from "./simulated-tables.js";

const frames = 48;
const exposureS = 30;
const edge = 8;
const [electronsPerAdu, readNoiseE] = [0.8, 1.7];

async function night(events: readonly object[], startUtc: string) {
  const plain = readScenario("dusk");
  const scenario = parseScenario(
    JSON.stringify({
      ...plain,
      seed: 77,
      telescope: { ...plain.telescope, cornerWidening: 1.02, opticsPx: 1.8 },
      camera: { ...plain.camera, width: 300, height: 220, hotPixelFraction: 0 },
      targets: { "NGC 281": { ...plain.targets["NGC 281"], starsPerDeg2AtMag12: 150, glow: { kind: "none" } } },
      nights: [
        {
          ...plain.nights[0],
          startUtc,
          readOutS: 90,
          air: { ...plain.nights[0]!.air, seeingWander: 0.05 },
          blocks: [{ target: "NGC 281", filter: "L", exposureS, frames }],
          events,
        },
      ],
    }),
    "depth check",
  );
  const pixels: Uint16Array[] = [];
  const simulated = await simulatedTable(scenario, {
    seed: 77,
    onFile: ({ bytes, name }) => {
      const image = firstImage(memoryBytes(name, bytes));
      const reader = openPixels(image.source, image.hdu);
      const values = new Uint16Array(reader.width * reader.height);
      reader.readRows(0, reader.height, values);
      pixels.push(values);
    },
  });
  return { scenario, pixels, ...simulated, ...gradedOf(simulated) };
}

function gradedOf(simulated: Awaited<ReturnType<typeof simulatedTable>>) {
  const { table } = gradeNight(simulated.table, simulated);
  const kept = Array.from({ length: table.rows }, (_, row) => row).filter((row) =>
    ["keep", "borderline"].includes(table.verdict[row]!),
  );
  return { table, kept };
}

type Simulated = Awaited<ReturnType<typeof night>>;

/** The subs on the pixels of the first, sky taken off, in ADU at `starlight` 1; whole pixels, which keeps the noise. */
function aligned({ table, starlight, pixels }: Simulated, row: number): Float64Array {
  const [width, height] = [table.width[0]! - 2 * edge, table.height[0]! - 2 * edge];
  const [dx, dy] = [edge + Math.round(table.shiftXPx[row]!), edge + Math.round(table.shiftYPx[row]!)];
  const image = new Float64Array(width * height);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++)
      image[y * width + x] =
        (pixels[row]![(y + dy) * table.width[row]! + x + dx]! - table.backgroundAdu[row]!) / starlight[row]!;
  return image;
}

function average(images: readonly Float64Array[], weights: readonly number[]): Float64Array {
  const sum = new Float64Array(images[0]!.length);
  const total = weights.reduce((a, b) => a + Math.abs(b), 0);
  for (const [n, image] of images.entries())
    for (let i = 0; i < sum.length; i++) sum[i]! += (weights[n]! / total) * image[i]!;
  return sum;
}

/** Noise of a pixel of an image without stars; neighbours are compared, so that slow changes do not count. */
function pixelNoise(image: Float64Array): number {
  const steps = image.slice(1).map((v, i) => Math.abs(v - image[i]!));
  const most = 4 * 1.4826 * median(steps);
  const used = steps.filter((step) => step < most);
  return Math.sqrt(used.reduce((sum, step) => sum + step * step, 0) / used.length / 2);
}

/** Noise of a pixel of the average of some subs, in ADU of one sub at `starlight` 1. */
function noiseOf(night: Simulated, rows: readonly number[], weightOf: (row: number) => number): number {
  const images = rows.map((row) => aligned(night, row));
  const weights = rows.map(weightOf);
  // Every other sub counts negative: stars go, noise stays. What is left of the stars is taken out with their average, which
  // takes `left` squared of the noise's square with it.
  const signed = average(
    images,
    weights.map((w, n) => (n % 2 === 0 ? w : -w)),
  );
  const total = weights.reduce((a, b) => a + b, 0);
  const left = weights.reduce((sum, w, n) => sum + (n % 2 === 0 ? w : -w), 0) / total;
  const plain = average(images, weights);
  return pixelNoise(signed.map((v, i) => v - left * plain[i]!)) / Math.sqrt(1 - left ** 2);
}

/** Noise of single subs, with the stars taken out by the average of all `n`, which takes 1/n of the noise's square. */
function singleNoise(night: Simulated, rows: readonly number[]): number[] {
  const images = rows.map((row) => aligned(night, row));
  const stars = average(
    images,
    rows.map(() => 1),
  );
  return images.map((image) => pixelNoise(image.map((v, i) => v - stars[i]!)) / Math.sqrt(1 - 1 / rows.length));
}

describe("depth against the averaged stack", async () => {
  const cloudy = await night(
    [{ kind: "cloud", fromMin: 30, toMin: 60, riseMin: 8, fallMin: 8, dimmingMag: 0.6, patchiness: 0 }],
    "2025-10-20T17:50:00Z",
  );
  const { table, kept, starlight, scenario, truth } = cloudy;
  const [depth] = depthReached(table);
  const weightOf = (row: number) => table.weight[row]!;

  it("signal over noise of the stack, weighted and not, within 5 %", () => {
    // The best conditions' sub, as the pixels have it: noise^2 x weight is the same for all.
    const single = singleNoise(cloudy, kept);
    const best = Math.sqrt(median(kept.map((row, i) => single[i]! ** 2 * weightOf(row))));
    const weighted = best / noiseOf(cloudy, kept, weightOf);
    const equal = best / noiseOf(cloudy, kept, () => 1);
    console.log(
      `${kept.length} of ${frames} kept: stack against one sub, best weights: measured ${weighted.toFixed(3)}, predicted ${depth!.snrOfOneSub.toFixed(3)}; equal weights: measured ${equal.toFixed(3)}, predicted ${depth!.snrEqualWeights.toFixed(3)}`,
    );
    expect(kept.length).toBeGreaterThan(20);
    expect(kept.length).toBeLessThan(frames);
    expect(Math.abs(weighted / depth!.snrOfOneSub - 1)).toBeLessThan(0.05);
    expect(Math.abs(equal / depth!.snrEqualWeights - 1)).toBeLessThan(0.05);
  });

  it("limits in magnitudes within 5 % of the light", () => {
    const top = kept.reduce((a, b) => (weightOf(b) > weightOf(a) ? b : a));
    const plan = planNight(scenario, scenario.nights[0]!)[top]!;
    const through = truth[top]!.transparency * plan.air;
    const zeroPointMag = 2.5 * Math.log10(plan.rates.starOfMag0 * through);
    const [noise] = noiseModels(table, { electronsPerAdu, readNoiseE });
    const said = stackLimits(depth!, noise!, zeroPointMag);
    const starSaid = limitingMagnitude({
      zeroPointMag,
      backgroundEPerS: noise!.backgroundEPerS,
      readNoiseE,
      subS: exposureS,
      subs: depth!.effectiveS / exposureS,
      fwhmPx: noiseFwhmPx(depth!.fwhmPx),
      snr: 5,
    });
    // e-/s of a pixel of the stack, at the starlight of the best sub.
    const sigma = (noiseOf(cloudy, kept, weightOf) * starlight[top]! * electronsPerAdu) / exposureS;
    const scale = table.pixelScaleArcsec[0]!;
    const surface = zeroPointMag - 2.5 * Math.log10((3 * sigma) / Math.sqrt(100 / scale ** 2) / scale ** 2);
    const area = trueShape(scenario, plan).noiseAreaPx2;
    const star = zeroPointMag - 2.5 * Math.log10(5 * sigma * Math.sqrt(area));
    console.log(
      `limits: surface ${surface.toFixed(3)}, predicted ${said.surfaceMag.toFixed(3)}; star ${star.toFixed(3)}, predicted ${starSaid.toFixed(3)} mag; noise area ${(area / table.fwhmPx[top]! ** 2).toFixed(2)} FWHM^2`,
    );
    expect(Math.abs(surface - said.surfaceMag)).toBeLessThan(2.5 * Math.log10(1.05));
    // Width, noise area and zero point: 5 % of the light as well.
    expect(Math.abs(star - starSaid)).toBeLessThan(2.5 * Math.log10(1.05));
  });

  it("the noise falls as one over the root of the count, as it is said to", async () => {
    const clear = await night([], "2025-10-20T20:30:00Z");
    const fall = (of: Simulated) => {
      const counts = [2, 4, 8, 16, 32];
      return noiseFall(
        counts,
        counts.map((n) => noiseOf(of, of.kept.slice(0, n), () => 1)),
      );
    };
    const { exponent, excess } = fall(clear);
    console.log(`noise ~ n^${exponent.toFixed(3)}, at 32 subs ${excess.toFixed(3)} of 1/sqrt(n)`);
    expect(Math.abs(exponent + 0.5)).toBeLessThan(0.02);
    expect(Math.abs(excess - 1)).toBeLessThan(0.05);
  });
});
