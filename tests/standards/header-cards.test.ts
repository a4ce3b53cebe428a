// FITS Standard 4.0 (2018-08-13), sections 4.1 to 4.4, and the vectors of check-values.md section 5.
import { describe, expect, it } from "vitest";
import { parseCard } from "../../src/read/cards.js";
import { encodeChecksum, onesComplementSum, verifyChecksums } from "../../src/read/checksum.js";
import { memoryBytes } from "../../src/read/file-bytes.js";
import { openFits, openPixels } from "../../src/read/hdu.js";
import { blockBytes, readHeader } from "../../src/read/header.js";

const card = (text: string) => parseCard(text.padEnd(80), 0);
const minimal = ["SIMPLE  =                    T", "BITPIX  =                    8", "NAXIS   =                    0"];
/** A header from card texts, with END and padding. */
function headerBytes(cards: readonly string[]): Uint8Array {
  const text = [...cards, "END"].map((c) => c.padEnd(80)).join("");
  return new TextEncoder().encode(text.padEnd(Math.ceil(text.length / blockBytes) * blockBytes));
}
const header = (cards: readonly string[]) => readHeader(memoryBytes("cards", headerBytes([...minimal, ...cards])), 0);

describe("values, section 4.2", () => {
  it.each([
    ["SLASHSTR= 'a/b ''c'' / d' / comment", "string", "a/b 'c' / d", "comment"],
    ["AUTHOR  = 'O''HARA'", "string", "O'HARA", ""],
    ["LEAD    = '  x '", "string", "  x", ""],
    ["NUL     = ''", "string", "", ""],
    ["EMPTY   = ' '", "string", "", ""],
    ["UNDEF   =", "undefined", null, ""],
    ["UNDEF   = / why", "undefined", null, "why"],
    ["YES     =                    T / fixed", "logical", true, "fixed"],
    ["NO      = F", "logical", false, ""],
    ["COUNT   = +007", "integer", 7, ""],
    ["BIG     = 9223372036854775807", "integer", 9223372036854775807n, ""],
    ["REAL    = -1.5D+3 / double", "real", -1500, "double"],
    ["EXPTIME = 1200. / [s] exposure time in seconds", "real", 1200, "[s] exposure time in seconds"],
    ["PAIR    = (123.23, -45.7)", "complex", { re: 123.23, im: -45.7 }, ""],
    ["BAD     = Light Frame", "unparsable", null, "Light Frame"],
    ["COMMENT = 'no value'", "commentary", "= 'no value'", ""],
    ["HISTORY plain text", "commentary", "plain text", ""],
    ["NOVALUE 12", "no-value", "12", ""],
  ] as const)("%s", (text, kind, value, comment) => {
    const { kind: ourKind, value: ourValue, comment: ourComment } = card(text);
    expect({ kind: ourKind, value: ourValue, comment: ourComment }).toEqual({ kind, value, comment });
  });
});

it("HIERARCH (ESO convention, FITS registry hierarch_keyword): free format behind the equals sign", () => {
  expect(card("HIERARCH ESO INS OPTI-3 ID = 'ESO#427 ' / Optical element identifier")).toMatchObject({
    keyword: "ESO INS OPTI-3 ID",
    value: "ESO#427",
    comment: "Optical element identifier",
  });
  expect(card("HIERARCH LongKeyword = 47.5")).toMatchObject({ keyword: "LongKeyword", value: 47.5 });
  expect(card("HIERARCH XTE$TEMP = 98.6")).toMatchObject({ keyword: "XTE$TEMP", value: 98.6 });
});

describe("CONTINUE, section 4.2.1.2", () => {
  it("joins long strings", () => {
    const { cards } = header([
      "WEATHER = 'Partly cloudy during the evening f&'",
      "CONTINUE  'ollowed by cloudy skies overnight.&'",
      "CONTINUE  ' Low 21C. Winds NNE at 5 to 10 mph.'",
      "AFTER   =                    1",
    ]);
    expect(cards.at(-2)?.value).toBe(
      "Partly cloudy during the evening followed by cloudy skies overnight. Low 21C. Winds NNE at 5 to 10 mph.",
    );
    expect(cards.at(-1)).toMatchObject({ keyword: "AFTER", value: 1 });
  });

  it("joins comments of empty pieces", () => {
    const joined = header([
      "STRKEY  = 'This keyword value is continued &'",
      "CONTINUE  ' over multiple keyword records.&'",
      "CONTINUE  '&' / The comment field for this",
      "CONTINUE  '&' / keyword is also continued",
      "CONTINUE  '' / over multiple records.",
    ]).get("STRKEY");
    expect(joined?.value).toBe("This keyword value is continued  over multiple keyword records.");
    expect(joined?.comment).toBe("The comment field for this keyword is also continued over multiple records.");
  });

  it("keeps an ampersand that nothing continues, and an orphan as commentary", () => {
    const { cards } = header(["TEXT    = 'ends in &'", "OTHER   = 2", "CONTINUE  'orphan'"]);
    expect(cards.slice(3).map(({ keyword, value, kind }) => [keyword, value, kind])).toEqual([
      ["TEXT", "ends in &", "string"],
      ["OTHER", 2, "integer"],
      ["CONTINUE", "  'orphan'", "commentary"],
    ]);
  });
});

describe("unsigned integers by offset, Table 11", () => {
  const image = (bitpix: number, bzero: string, bytes: readonly number[]) => {
    const count = (bytes.length * 8) / bitpix;
    const cards = [
      minimal[0]!,
      `BITPIX  = ${bitpix}`,
      "NAXIS   = 2",
      `NAXIS1  = ${count}`,
      "NAXIS2  = 1",
      `BZERO   = ${bzero}`,
      "BSCALE  = 1",
    ];
    const data = new Uint8Array(blockBytes);
    data.set(bytes);
    const { source, hdus } = openFits(memoryBytes("unsigned", Uint8Array.from([...headerBytes(cards), ...data])));
    const reader = openPixels(source, hdus[0]!);
    const pixels = new Float64Array(count);
    reader.readRows(0, 1, pixels);
    return { pixels: [...pixels], type: reader.type };
  };
  it("turns the sign bit over", () => {
    const hex = (text: string) => text.match(/../g)!.map((pair) => Number.parseInt(pair, 16));
    expect(image(16, "32768", hex("80008001ffff00007ffe7fff"))).toEqual({
      pixels: [0, 1, 32767, 32768, 65534, 65535],
      type: "uint16",
    });
    expect(image(8, "-128", [248])).toEqual({ pixels: [120], type: "int8" });
    expect(image(32, "2147483648", hex("800000007fffffff"))).toEqual({ pixels: [0, 4294967295], type: "uint32" });
    expect(image(64, "9223372036854775808", hex("8000000000000005"))).toEqual({ pixels: [5], type: "float64" });
  });
});

describe("checksums, appendix J", () => {
  it("encodes the worked example of J.3", () => {
    expect(868229149).toBe(0x33c0201d);
    expect(encodeChecksum(868229149)).toBe("hcHjjc9ghcEghc9g");
  });

  it("agrees with the cards that astropy 5.2.1 writes (check-values.md section 5)", () => {
    const cards = [
      "SIMPLE  =                    T / conforms to FITS standard",
      "BITPIX  =                   16 / array data type",
      "NAXIS   =                    2 / number of array dimensions",
      "NAXIS1  =                    3",
      "NAXIS2  =                    4",
      "EXTEND  =                    T",
    ];
    const data = new Uint8Array(blockBytes);
    for (let i = 0; i < 12; i++) data[2 * i + 1] = i;
    expect(onesComplementSum(data)).toBe(1966116);
    const stamp = "/ 2020-01-01T00:00:00";
    const bytes = (checksum: string) =>
      Uint8Array.from([
        ...headerBytes([...cards, `CHECKSUM= '${checksum}'   ${stamp}`, `DATASUM = '1966116 '           ${stamp}`]),
        ...data,
      ]);
    expect(encodeChecksum(onesComplementSum(bytes("0".repeat(16))))).toBe("EAYoE4WnEAWnE3Wn");
    const sum = onesComplementSum(bytes("0".repeat(16)));
    const source = memoryBytes("sums", bytes(encodeChecksum(sum)));
    expect(verifyChecksums(source, openFits(source).hdus[0]!)).toEqual({ checksum: true, datasum: true });
  });
});
