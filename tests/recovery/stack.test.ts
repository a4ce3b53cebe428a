// What grading predicts of a stack against the stack itself: the subs of a simulated night are scaled to equal starlight,
// moved onto one another and averaged; noise, peaks and width of stars are then measured on the average.
import { describe, expect, it } from "vitest";
import { frontier } from "../../src/grade/frontier.js";
import { gradeNight } from "../../src/grade/grade-night.js";
import { limitsFor, purposes } from "../../src/grade/purposes.js";
import { measureFrame } from "../../src/measure/measure-frame.js";
import { median } from "../../src/numbers/quantiles.js";
import { memoryBytes } from "../../src/read/file-bytes.js";
import { firstImage, openPixels } from "../../src/read/hdu.js";
import type { PixelReader } from "../../src/read/pixels.js";
import { parseScenario } from "../../src/simulate/scenario.js";
import { readScenario, simulatedTable } from "./simulated-tables.js";

const frames = 24;
const mostShift = 8;

/** A night with everything that counts: a bright sky at the start, cloud in the middle, and seeing that comes and goes. */
async function night() {
  const plain = readScenario("dusk");
  const scenario = parseScenario(
    JSON.stringify({
      ...plain,
      telescope: { ...plain.telescope, focalLengthMm: 900, opticsPx: 1.4, apertureMm: 110, cornerWidening: 1.02 },
      camera: { ...plain.camera, width: 400, height: 300, hotPixelFraction: 0 },
      targets: { "NGC 281": { ...plain.targets["NGC 281"], starsPerDeg2AtMag12: 400, glow: { kind: "none" } } },
      nights: [
        {
          ...plain.nights[0],
          startUtc: "2025-10-20T17:25:00Z",
          air: { ...plain.nights[0]!.air, seeingWander: 0.3, seeingWanderMin: 12 },
          blocks: [{ target: "NGC 281", filter: "L", exposureS: 30, frames }],
          events: [{ kind: "cloud", fromMin: 35, toMin: 75, riseMin: 8, fallMin: 8, dimmingMag: 0.9, patchiness: 0 }],
        },
      ],
    }),
    "stack check",
  );
  const pixels: Float64Array[] = [];
  const simulated = await simulatedTable(scenario, {
    seed: 31,
    onFile: ({ bytes, name }) => {
      const image = firstImage(memoryBytes(name, bytes));
      const reader = openPixels(image.source, image.hdu);
      const values = new Uint16Array(reader.width * reader.height);
      reader.readRows(0, reader.height, values);
      pixels.push(Float64Array.from(values));
    },
  });
  return { ...simulated, pixels };
}

/** Six weights that give the value `part` of a pixel after the third of six (Lanczos' window), sum 1. */
function lanczos(part: number): number[] {
  const taps = [-2, -1, 0, 1, 2, 3].map((at) => {
    const x = Math.PI * (at - part);
    return Math.abs(x) < 1e-9 ? 1 : (3 * Math.sin(x) * Math.sin(x / 3)) / (x * x);
  });
  const sum = taps.reduce((total, tap) => total + tap, 0);
  return taps.map((tap) => tap / sum);
}

describe("a stack against what was predicted of it", async () => {
  const { table, starlight, starlightError, pixels } = await night();
  const { width, height } = { width: table.width[0]!, height: table.height[0]! };
  const graded = gradeNight(table, { starlight, starlightError });
  const group = graded.groups[0]!;
  const inner = { width: width - 2 * mostShift, height: height - 2 * mostShift };
  const everyRow = Array.from(group.rows);
  const kept = everyRow.filter((row) => graded.table.verdict[row] !== "drop");

  /**
   * Subs on the reference's pixels, scaled to equal starlight. `sharp` moves by fractions of a pixel, which keeps the
   * width of stars but couples neighbours; `whole` moves by whole pixels, which keeps the noise.
   */
  const aligned = {
    sharp: pixels.map((_, row) => alignedSub(row, "sharp")),
    whole: pixels.map((_, row) => alignedSub(row, "whole")),
  };
  function alignedSub(row: number, how: "sharp" | "whole"): Float64Array {
    const image = pixels[row]!;
    const [sx, sy] = [table.shiftXPx[row]! + mostShift, table.shiftYPx[row]! + mostShift];
    const [dx, dy] = how === "whole" ? [Math.round(sx), Math.round(sy)] : [Math.floor(sx), Math.floor(sy)];
    const [tapsX, tapsY] = how === "whole" ? [[1], [1]] : [lanczos(sx - dx), lanczos(sy - dy)];
    const first = how === "whole" ? 0 : -2;
    const result = new Float64Array(inner.width * inner.height);
    for (const [j, ty] of tapsY.entries())
      for (const [i, tx] of tapsX.entries())
        for (let y = 0; y < inner.height; y++) {
          const from = (y + dy + j + first) * width + dx + i + first;
          for (let x = 0; x < inner.width; x++)
            result[y * inner.width + x]! +=
              (tx * ty * (image[from + x]! - table.backgroundAdu[row]!)) / starlight[row]!;
        }
    return result;
  }

  /** The weighted mean of subs. */
  function stackOf(
    rows: readonly number[],
    weightOf: (row: number) => number,
    how: "sharp" | "whole" = "sharp",
    signOf = (_: number) => 1,
  ): Float64Array {
    const sum = new Float64Array(inner.width * inner.height);
    const total = rows.reduce((t, row) => t + weightOf(row), 0);
    for (const [n, row] of rows.entries()) {
      const factor = (signOf(n) * weightOf(row)) / total;
      const image = aligned[how][row]!;
      for (let i = 0; i < sum.length; i++) sum[i]! += factor * image[i]!;
    }
    return sum;
  }

  const equal = () => 1;
  const everyStar = stackOf(everyRow, equal, "whole");
  /**
   * Noise of a pixel of the stack: every other sub counts negative, which takes the stars out and leaves the noise (what
   * is left of them is taken out by the stack of all, whose own noise then adds 0.1 %), and neighbours are compared, so
   * that slow changes across the frame do not count.
   */
  function noiseOf(rows: readonly number[], weightOf: (row: number) => number): number {
    const sign = (n: number) => (n % 2 === 0 ? 1 : -1);
    const [left, total] = rows.reduce(([l, t], row, n) => [l + sign(n) * weightOf(row), t + weightOf(row)], [0, 0]);
    const image = stackOf(rows, weightOf, "whole", sign);
    for (let i = 0; i < image.length; i++) image[i]! -= (left / total) * everyStar[i]!;
    const steps = image.slice(1).map((v, i) => Math.abs(v - image[i]!));
    // Below four standard deviations, which leaves out what remains of stars; of a normal sample that is 99.9 % of the square.
    const most = 4 * 1.4826 * median(steps);
    const used = steps.filter((step) => step < most);
    return Math.sqrt(used.reduce((sum, step) => sum + step * step, 0) / used.length / 2);
  }

  const measured = (image: Float64Array) => {
    // Whole numbers with a pedestal, as a file would hold them; 40 steps to the ADU.
    const reader: PixelReader = {
      ...inner,
      planes: 1,
      type: "float32",
      readRows: (first: number, count: number, into: { [index: number]: number }) => {
        for (let i = 0; i < count * inner.width; i++) into[i] = image[first * inner.width + i]! + 1000;
      },
    } as unknown as PixelReader;
    return measureFrame(reader, { electronsPerAdu: 0.8 * kept.length });
  };

  /** Stars that are bright, but full in no sub, alone and well inside, by the kept stack. */
  const reference = measured(stackOf(kept, equal));
  const stars = Array.from({ length: reference.stars.count }, (_, i) => i).filter((i) => {
    const { xPx, yPx, snr, flags, peakAdu } = reference.stars;
    return (
      snr[i]! > 60 &&
      peakAdu[i]! < 15_000 &&
      flags[i] === 0 &&
      xPx[i]! > 12 &&
      yPx[i]! > 12 &&
      xPx[i]! < inner.width - 12 &&
      yPx[i]! < inner.height - 12
    );
  });

  /** The value at a point between pixels. */
  function valueAt(image: Float64Array, atX: number, atY: number): number {
    const [x, y] = [Math.floor(atX), Math.floor(atY)];
    const [tapsX, tapsY] = [lanczos(atX - x), lanczos(atY - y)];
    let value = 0;
    for (const [v, ty] of tapsY.entries())
      for (const [u, tx] of tapsX.entries()) value += tx * ty * image[(y + v - 2) * inner.width + x + u - 2]!;
    return value;
  }

  /** Mean brightness of the stars at a distance from their middles, over directions. */
  function ringOf(image: Float64Array, radius: number): number {
    const { xPx, yPx } = reference.stars;
    let sum = 0;
    for (const i of stars)
      for (let turn = 0; turn < 16; turn++) {
        const angle = (turn * Math.PI) / 8;
        sum += valueAt(image, xPx[i]! + radius * Math.cos(angle), yPx[i]! + radius * Math.sin(angle));
      }
    return sum / (16 * stars.length);
  }
  const peakOf = (image: Float64Array) => ringOf(image, 0);

  /** Twice the radius at which the stars' mean profile has half its peak; the pixel's width taken out. */
  function fwhmOf(image: Float64Array): number {
    const half = peakOf(image) / 2;
    let [low, high] = [0.3, 6];
    while (high - low > 1e-3) {
      const middle = (low + high) / 2;
      if (ringOf(image, middle) > half) low = middle;
      else high = middle;
    }
    return Math.sqrt((low + high) ** 2 - (8 * Math.LN2) / 12);
  }

  it("has what it needs: kept, dropped for each reason, and stars to measure", () => {
    expect(table.rows).toBe(frames);
    expect(kept.length).toBeGreaterThan(7);
    expect(frames - kept.length).toBeGreaterThan(5);
    expect(stars.length).toBeGreaterThan(8);
    for (const row of everyRow) {
      expect(Math.abs(table.shiftXPx[row]!)).toBeLessThan(mostShift - 0.5);
      expect(Math.abs(table.shiftYPx[row]!)).toBeLessThan(mostShift - 0.5);
    }
  });

  it("noise, peaks and width of kept, all and weighted within 5 %", () => {
    const predicted = frontier(graded.table, group)!;
    const weightOf = (row: number) => graded.table.weight[row]!;
    const [k, a] = [stackOf(kept, equal), stackOf(everyRow, equal)];
    const keptNoise = noiseOf(kept, equal);
    const lines = [
      ["depth, all / kept", keptNoise / noiseOf(everyRow, equal), predicted.all.depth],
      ["depth, all weighted / kept", keptNoise / noiseOf(everyRow, weightOf), predicted.all.depthWeighted],
      [
        "star peaks, all / kept",
        (peakOf(a) / peakOf(k)) * (keptNoise / noiseOf(everyRow, equal)),
        predicted.all.starPeak,
      ],
      ["FWHM of kept, px", fwhmOf(k), predicted.kept.fwhmPx],
      ["FWHM of all, px", fwhmOf(a), predicted.all.fwhmPx],
    ] as const;
    console.log(
      lines.map(([what, is, said]) => `${what}: measured ${is.toFixed(3)}, predicted ${said.toFixed(3)}`).join("\n"),
    );
    for (const [what, is, said] of lines) expect(Math.abs(is / said - 1), what).toBeLessThan(0.05);
  });

  it("the frontier's cuts within 5 %", () => {
    for (const purpose of purposes) {
      const limits = limitsFor(purpose);
      const again = gradeNight(table, { starlight, starlightError, limits });
      const { cuts } = frontier(again.table, group, { limits, steps: 4 })!;
      const worth = again.gains.worthS;
      const order = [...group.rows].sort((p, q) => worth[q]! - worth[p]!);
      const now = everyRow.filter((row) => ["keep", "borderline"].includes(again.table.verdict[row]!));
      for (const cut of cuts.filter(({ subs }) => subs >= 4)) {
        const rows = order.slice(0, cut.subs);
        const image = stackOf(rows, equal);
        const fwhmPx = fwhmOf(image);
        const depth = noiseOf(now, equal) / noiseOf(rows, equal);
        const peak = (peakOf(image) / peakOf(stackOf(now, equal))) * depth;
        console.log(
          `${purpose} ${cut.subs}: depth ${depth.toFixed(3)} (${cut.depth.toFixed(3)}), peaks ${peak.toFixed(3)} (${cut.starPeak.toFixed(3)}), FWHM ${fwhmPx.toFixed(2)} (${(cut.fwhmPx).toFixed(2)}) px`,
        );
        expect(rows).toContain(cut.poorestRow);
        expect(Math.abs(depth / cut.depth - 1)).toBeLessThan(0.05);
        expect(Math.abs(peak / cut.starPeak - 1)).toBeLessThan(0.05);
        expect(Math.abs(fwhmPx / cut.fwhmPx - 1)).toBeLessThan(0.05);
      }
    }
  });

  it("what single subs give and cost within 5 % of it", () => {
    const limits = limitsFor("depth");
    const { gains, table: forDepth } = gradeNight(table, { starlight, starlightError, limits });
    const burdens = everyRow
      .filter((row) => gains.burden[row]! > 0)
      .sort((p, q) => gains.burden[p]! - gains.burden[q]!);
    const inStack = everyRow.filter((row) => forDepth.verdict[row] !== "drop");
    for (const row of [burdens[0]!, burdens[1]!, burdens.at(-3)!, burdens.at(-2)!, burdens.at(-1)!]) {
      const without = inStack.filter((r) => r !== row);
      const gain = noiseOf(without, equal) / noiseOf([...without, row], equal) - 1;
      const said = gains.equalWeights[row]!;
      console.log(`sub ${row}: gain measured ${(100 * gain).toFixed(2)} %, predicted ${(100 * said).toFixed(2)} %`);
      // A noise of 109,000 pixels is known to 0.2 %.
      expect(Math.abs(gain - said)).toBeLessThan(0.05 * Math.abs(said) + 0.002);
    }
  });
});
