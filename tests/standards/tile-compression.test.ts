// FITS Standard 4.0, section 10 and appendix I. The Rice and dither vectors are from check-values.md section 5
// (computed there with the C coder in astropy 5.2.1; the standard prints none).
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { ditherNumbers, unquantise } from "../../src/read/dither.js";
import { type RiceBytes, riceDecode } from "../../src/read/rice.js";
import { riceEncode } from "../../src/read/rice-encode.js";

const numbers = (text: string) => text.split(" ").map(Number);
const vectors: readonly [string, RiceBytes, readonly number[], string][] = [
  ["constant", 2, new Array<number>(32).fill(100), "006400"],
  ["ramp", 2, Array.from({ length: 32 }, (_, i) => i), "000019249249249249249249249240"],
  [
    "two blocks of sky",
    2,
    numbers(
      "1000 1003 998 1001 1010 995 1000 1002 999 1004 1001 997 1000 1200 1003 998 1001 1000 996 1005 1002 999 1000 1001 998 1003 1000 997 1004 1001 999 1000 1002 998 1001 1000",
    ),
    "03e8585b3649dd52baadec000000800000067368dd2ad652aeab5f56722218b0",
  ],
  [
    "raw block",
    2,
    numbers("0 32767 -32768 12345 -12345 1 -1 30000 -30000 5 7 9 -20000 20000 0 100"),
    "0000f0000fffe00029f8dc0e360740003ea622b40ea6a000400049c51c77f9c3f00c80",
  ],
  ["32 bits", 4, numbers("100000 100010 99990 100005 100300 99995 100001 100002"), "000186a04404a53cf067070c6410"],
  ["bytes", 1, numbers("10 12 9 11 200 10 9 8 10 11 12 13"), "0ab0a56801500a463494a4"],
];
const hex = (bytes: Uint8Array) => Buffer.from(bytes).toString("hex");

describe("RICE_1, section 10.4.1", () => {
  it.each(vectors)("%s", (_, bytesPerPixel, pixels, code) => {
    const out = new Int32Array(pixels.length);
    riceDecode(Buffer.from(code, "hex"), pixels.length, 32, bytesPerPixel, out);
    expect([...out]).toEqual(pixels);
    expect(hex(riceEncode(pixels, bytesPerPixel))).toBe(code);
  });

  it("decodes what it encodes, for any pixels", () => {
    const ofBytes = fc.constantFrom<RiceBytes>(1, 2, 4).chain((bytesPerPixel) => {
      const half = 2 ** (8 * bytesPerPixel - 1);
      const [min, max] = bytesPerPixel === 1 ? [0, 255] : [-half, half - 1];
      const wide = fc.array(fc.integer({ min, max }), { minLength: 1, maxLength: 200 });
      const narrow = fc.array(fc.integer({ min: 20, max: 60 }), { minLength: 1, maxLength: 200 });
      return fc.tuple(fc.constant(bytesPerPixel), fc.oneof(wide, narrow), fc.integer({ min: 1, max: 40 }));
    });
    fc.assert(
      fc.property(ofBytes, ([bytesPerPixel, pixels, blockSize]) => {
        const out = new Int32Array(pixels.length);
        riceDecode(riceEncode(pixels, bytesPerPixel, blockSize), pixels.length, blockSize, bytesPerPixel, out);
        expect([...out]).toEqual(pixels);
      }),
      { numRuns: 500 },
    );
  });
});

describe("quantised floats, section 10.2", () => {
  it("draws the Park-Miller numbers of appendix I", () => {
    // Appendix I: after 10,000 steps from seed 1 the seed is 1043618065; the first five are Park & Miller's.
    const first = [16807, 282475249, 1622650073, 984943658, 1144108930];
    const table = ditherNumbers();
    expect([...table.slice(0, 5)]).toEqual(first.map((seed) => Math.fround(seed / 2147483647)));
    expect(table[9999]).toBe(Math.fround(1043618065 / 2147483647));
    expect(table.length).toBe(10000);
  });

  it("without dither", () => {
    const out = new Int32Array(16);
    riceDecode(Buffer.from("000000041c45463b5080e6b365", "hex"), 16, 32, 4, out);
    const floats = new Float64Array(16);
    unquantise({ method: "none", seed: 1 }, 0, out, 16, 0.25, 9, Number.NaN, floats);
    expect([...floats]).toEqual(numbers("10 10.5 9.75 10.25 11 9.5 10.25 10 12 9 10.25 10 10 10.25 10.5 9.75"));
  });

  it("with SUBTRACTIVE_DITHER_1, ZDITHER0 7, first tile", () => {
    const out = new Int32Array(16);
    riceDecode(Buffer.from("000000041c45463b5080e69d37", "hex"), 16, 32, 4, out);
    expect([...out.slice(0, 8)]).toEqual([4, 6, 3, 5, 8, 2, 5, 4]);
    expect(Math.floor(ditherNumbers()[6]! * 500)).toBe(23);
    const floats = new Float64Array(16);
    unquantise({ method: "dither-1", seed: 7 }, 0, out, 16, 0.25, 9, Number.NaN, floats);
    const expected = numbers("9.8923912 10.4134579 9.7432680 10.3520088 10.9615202 9.5209999 10.1997023 9.8974199");
    expected.forEach((value, i) => void expect(floats[i]).toBeCloseTo(value, 6));
  });
});
