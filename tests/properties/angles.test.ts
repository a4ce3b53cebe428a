// Angles written down and read again; the writer under test is checked against arithmetic, not only against the reader.
import { assert, constantFrom, double, integer, property, tuple } from "fast-check";
import { describe, expect, it } from "vitest";
import { formatSexagesimal, parseAngle, separationDeg, withinHalfTurn } from "../../src/read/angles.js";

const sign = constantFrom("", "+", "-");
const separators = constantFrom([":", ":", ""], [" ", " ", ""], ["d", "m", "s"], ["h", "m", "s"], ["° ", "′ ", "″"]);
const pad = (n: number, width = 2) => String(n).padStart(width, "0");

describe("angles", () => {
  it("decimals come back as they were written", () => {
    const anyNumber = double({ min: -720, max: 720, noNaN: true });
    assert(property(anyNumber, (deg) => Object.is(parseAngle(String(deg))?.value, deg === 0 ? 0 : deg)));
  });

  it("degrees, minutes and seconds in every spelling are their sum, with the sign of the whole", () => {
    const parts = tuple(integer({ min: 0, max: 359 }), integer({ min: 0, max: 59 }), integer({ min: 0, max: 59_999 }));
    assert(
      property(sign, parts, separators, (before, [whole, minutes, thousandths], [one, two, three]) => {
        const seconds = thousandths / 1000;
        const text = `${before}${pad(whole)}${one}${pad(minutes)}${two}${seconds.toFixed(3).padStart(6, "0")}${three}`;
        const size = whole + minutes / 60 + seconds / 3600;
        const read = parseAngle(text);
        expect(read?.value, text).toBeCloseTo(before === "-" ? -size : size, 10);
        expect(read?.mark).toBe(one === "h" ? "h" : one === "d" || one === "° " ? "d" : "");
      }),
    );
  });

  it("what is formatted reads back to within half of the last digit, and keeps its sign", () => {
    assert(
      property(double({ min: -359.99, max: 359.99, noNaN: true }), integer({ min: 0, max: 4 }), (deg, decimals) => {
        const text = formatSexagesimal(deg, decimals);
        const read = parseAngle(text)!;
        expect(Math.abs(read.value - deg) * 3600, text).toBeLessThanOrEqual(0.5 * 10 ** -decimals + 1e-7);
        expect(text.startsWith("-")).toBe(deg < 0 || Object.is(deg, -0));
      }),
    );
  });

  it("the sign counts for minus zero degrees", () => {
    expect(parseAngle("-00 30 00")?.value).toBe(-0.5);
    expect(parseAngle("-00:00:36")?.value).toBe(-0.01);
    expect(formatSexagesimal(-0.5, 0)).toBe("-00 30 00");
  });

  it("what is no angle is none", () => {
    for (const text of ["", "12 60 00", "12 00 60", "1:2:3:4", "north", "12 -30 00", "--1", "1e", "12::30"])
      expect(parseAngle(text), text).toBeNull();
  });

  it("a turn more or less is the same direction", () => {
    const anywhere = double({ min: -1000, max: 1000, noNaN: true });
    assert(
      property(anywhere, integer({ min: -3, max: 3 }), (deg, turns) => {
        const inside = withinHalfTurn(deg + 360 * turns);
        expect(inside).toBeGreaterThanOrEqual(-180);
        expect(inside).toBeLessThan(180);
        expect(Math.sin((inside * Math.PI) / 180)).toBeCloseTo(Math.sin((deg * Math.PI) / 180), 9);
        expect(Math.cos((inside * Math.PI) / 180)).toBeCloseTo(Math.cos((deg * Math.PI) / 180), 9);
      }),
    );
  });

  it("separations are those of the dot product of directions", () => {
    const place = tuple(double({ min: 0, max: 360, noNaN: true }), double({ min: -90, max: 90, noNaN: true }));
    const direction = ([ra, dec]: readonly [number, number]) => {
      const [a, d] = [(ra * Math.PI) / 180, (dec * Math.PI) / 180];
      return [Math.cos(d) * Math.cos(a), Math.cos(d) * Math.sin(a), Math.sin(d)] as const;
    };
    assert(
      property(place, place, (one, other) => {
        const [u, v] = [direction(one), direction(other)];
        const apart = separationDeg({ raDeg: one[0], decDeg: one[1] }, { raDeg: other[0], decDeg: other[1] });
        expect(Math.cos((apart * Math.PI) / 180)).toBeCloseTo(u[0] * v[0] + u[1] * v[1] + u[2] * v[2], 9);
      }),
    );
  });
});
