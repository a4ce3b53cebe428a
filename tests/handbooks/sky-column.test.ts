// The frame table's sky column: the model's numbers are checked in sky-brightness.test.ts; here that the column uses them,
// and that the dark zenith is found again from frames made with the printed equations, written out apart from the code.
import { describe, expect, it } from "vitest";
import { randomStream } from "../../src/numbers/random.js";
import { skyColumn } from "../../src/sky/sky-column.js";
import { type FrameRow, fromRows } from "../../src/terms/frame-table.js";

const rad = Math.PI / 180;
const nl = (mag: number) => 34.08 * Math.exp(20.7233 - 0.92104 * mag); // Garstang 1986 eq. 19
const path = (altitudeDeg: number) => 1 / Math.sqrt(1 - 0.96 * Math.cos(altitudeDeg * rad) ** 2); // KS91 eq. 3

/** Sky in nanolamberts by Krisciunas & Schaefer's eqs. 20 and 21 and the layer law with f 0.6. */
function sky(zenith: number, k: number, row: Partial<FrameRow>, phase: number): number {
  const x = path(row.altitudeDeg!);
  const dark = nl(zenith - 2.5 * Math.log10(0.4 + 0.6 * x) + k * (x - 1));
  if (row.moonAltitudeDeg! < 0) return dark;
  const light = 10 ** (-0.4 * (3.84 + 0.026 * phase + 4e-9 * phase ** 4));
  const f =
    10 ** 5.36 * (1.06 + Math.cos(row.moonSeparationDeg! * rad) ** 2) + 10 ** (6.15 - row.moonSeparationDeg! / 40);
  return dark + f * light * 10 ** (-0.4 * k * path(row.moonAltitudeDeg!)) * (1 - 10 ** (-0.4 * k * x));
}

function night(zenith: number, phase: number, pedestal = 500) {
  const random = randomStream(7, "sky column");
  return fromRows(
    Array.from({ length: 120 }, (_, i) => {
      const row = {
        kind: "light",
        filter: i % 2 === 0 ? "L" : "Ha",
        exposureS: 30,
        gainSetting: 100,
        width: 3000,
        pixelScaleArcsec: 2,
        altitudeDeg: 40 + 35 * Math.sin((i / 119) * Math.PI),
        sunAltitudeDeg: -25,
        moonAltitudeDeg: -20 + i * 0.45,
        moonSeparationDeg: 60 + i * 0.1,
        moonIllumination: (1 + Math.cos(phase * rad)) / 2,
      };
      const adu = (i % 2 === 0 ? 5 : 0.4) * sky(zenith, 0.28, row, phase) * (1 + 0.02 * random.normal());
      return { ...row, backgroundAdu: pedestal + adu };
    }),
  );
}

describe("sky column", () => {
  it.each([18.5, 20, 21.3])("moonlight tells the dark zenith of %d from frames of two filters", (zenith) => {
    const found = skyColumn(night(zenith, 40), { pedestalAdu: 500 });
    expect(found.from).toBe("moonlight");
    // 2 % of noise a frame over 120 frames and a grid of 0.05 mag; a bright sky is told less well by the same Moon.
    expect(Math.abs(found.darkZenithMag - zenith)).toBeLessThan(zenith < 19 ? 0.25 : 0.1);
    const last = found.skyMagArcsec2.at(-1)!;
    const truth = sky(zenith, 0.28, { altitudeDeg: 40, moonAltitudeDeg: 33.55, moonSeparationDeg: 71.9 }, 40);
    expect(Math.abs(nl(last) / truth - 1)).toBeLessThan(0.15);
  });

  it("a zero point measures the zenith; a given one is used as it is", () => {
    // 500 + 5 nL ADU in 30 s and 4 arcsec2: V = zp - 2.5 log(5 nL / 120); by eq. 19 nL = 34.08 exp(20.7233 - .92104 V).
    const table = night(20, 120);
    const zeroPointMag = 20 + 2.5 * Math.log10((5 * nl(20)) / 120);
    const onlyL = skyColumn(table, { pedestalAdu: 500, zeroPointMag });
    expect(onlyL.from).toBe("measured");
    const given = skyColumn(table, { darkZenithMag: 20 });
    expect(given).toMatchObject({ from: "given", darkZenithMag: 20, frames: 0 });
    expect(
      Math.abs(nl(given.skyMagArcsec2[0]!) / sky(20, 0.28, { altitudeDeg: 40, moonAltitudeDeg: -20 }, 120) - 1),
    ).toBeLessThan(1e-4);
  });

  it("says so when it cannot know: no pedestal, no moonlight, nothing placed", () => {
    for (const column of [
      skyColumn(night(20, 40)),
      skyColumn(night(18, 170), { pedestalAdu: 500 }),
      skyColumn(fromRows([{ kind: "light" }]), { pedestalAdu: 0 }),
    ]) {
      expect(column.from).toBe("not-known");
      expect(column.skyMagArcsec2.every(Number.isNaN)).toBe(true);
    }
    expect(() => skyColumn(night(20, 40), { darkZenithMag: 200 })).toThrow(/between 10 and 24/);
  });
});
