// FITS Standard 4.0, section 10: small compressed images written here by the rules of the standard, with the pixels
// that the rules give. What breaks the rules must be a FitsError that names byte and remedy, before memory is taken.
import { gzipSync } from "node:zlib";
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { ditherNumbers } from "../../src/read/dither.js";
import { riceEncode } from "../../src/read/rice-encode.js";
import { FitsError } from "../../src/terms/errors.js";
import { pixelsOf, type TileFile, tileFile } from "./tile-file.js";

const image = (method: string, bitpix: number, width: number, height = 1) => ({
  ZBITPIX: bitpix,
  ZNAXIS: 2,
  ZNAXIS1: width,
  ZNAXIS2: height,
  ZCMPTYPE: `'${method}'`,
});
const byteWidth = (bytes: number) => ({ ZNAME1: "'BYTEPIX'", ZVAL1: bytes });
const data = { COMPRESSED_DATA: "1PB" };
const words = (...list: number[]) => new Uint8Array(list.flatMap((word) => [(word >> 8) & 255, word & 255]));
const rice = (...pixels: number[]) => riceEncode(pixels, 4);
const read = (file: TileFile) => pixelsOf(tileFile(file));

describe("tiles", () => {
  it("puts GZIP_2 bytes together again as the example of section 10.4.2 shuffles them", () => {
    // A1 B1 C1 D1 E1 A2 B2 C2 D2 E2 with A = 1*256+11, B = 2*256+12, ...
    const shuffled = gzipSync(new Uint8Array([1, 2, 3, 4, 5, 11, 12, 13, 14, 15]));
    const file = { cards: image("GZIP_2", 16, 5), columns: data, rows: [{ COMPRESSED_DATA: shuffled }] };
    expect(read(file)).toEqual([267, 524, 781, 1038, 1295]);
  });

  it("carries out each PLIO instruction of table 38", () => {
    // header words as files have them: unused, header length 7, -100, list length low and high, unused, unused
    const list = [0x0003, 0x4002, 0x2004, 0x5002, 0x3001, 0x6003, 0x7002, 0x1005, 0x0001, 0x4001];
    const code = words(0, 7, -100, 7 + list.length, 0, 0, 0, ...list);
    const file = {
      cards: image("PLIO_1", 32, 11),
      columns: { COMPRESSED_DATA: "1PI" },
      rows: [{ COMPRESSED_DATA: code }],
    };
    // ZN 3 | HN 2 of 1 | IH 4 -> 5 | PN 2: 0, 5 | DH 1 -> 4 | IS 3: 7 | DS 2: 5 | SH 4096*1+5 | HN 1
    expect(read(file)).toEqual([0, 0, 0, 1, 1, 0, 5, 7, 5, 4101, 0]);
  });

  it("follows 64-bit descriptors, THEAP, edge tiles and tiles over planes", () => {
    // 3 x 3 x 3 pixels in tiles of 2 x 2 x 2; the value is 100 z + 10 y + x
    const rows = [];
    for (const z of [0, 2])
      for (const y of [0, 2])
        for (const x of [0, 2]) {
          const pixels = [];
          for (let k = z; k < Math.min(z + 2, 3); k++)
            for (let j = y; j < Math.min(y + 2, 3); j++)
              for (let i = x; i < Math.min(x + 2, 3); i++) pixels.push(100 * k + 10 * j + i);
          rows.push({ COMPRESSED_DATA: rice(...pixels) });
        }
    const cards = { ...image("RICE_1", 32, 3, 3), ZNAXIS: 3, ZNAXIS3: 3, ZTILE1: 2, ZTILE2: 2, ZTILE3: 2 };
    const expected = Array.from(
      { length: 27 },
      (_, i) => 100 * Math.floor(i / 9) + 10 * (Math.floor(i / 3) % 3) + (i % 3),
    );
    expect(read({ cards, columns: { COMPRESSED_DATA: "1QB" }, rows, gapBytes: 40 })).toEqual(expected);
  });

  it("takes undefined pixels from BLANK, from the column ZBLANK before the keyword, and from the mask", () => {
    const rows = [{ COMPRESSED_DATA: rice(5, 6, 7), ZBLANK: 6 }];
    const cards = { ...image("RICE_1", 32, 3), ZBLANK: 7 };
    expect(read({ cards: { ...cards, BLANK: 5 }, columns: data, rows })).toEqual([Number.NaN, 6, 7]);
    expect(read({ cards, columns: data, rows })).toEqual([5, 6, Number.NaN]);
    expect(read({ cards, columns: { ...data, ZBLANK: "1J" }, rows })).toEqual([5, Number.NaN, 7]);
    const masked = { COMPRESSED_DATA: rice(5, 6, 7), NULL_PIXEL_MASK: gzipSync(new Uint8Array([1, 0, 1])) };
    const withMask = { ...image("RICE_1", 32, 3), ZMASKCMP: "'GZIP_1'" };
    expect(read({ cards: withMask, columns: { ...data, NULL_PIXEL_MASK: "1PB" }, rows: [masked] })).toEqual([
      Number.NaN,
      6,
      Number.NaN,
    ]);
  });

  it("restores floats by eq. 14, and exact zeros of SUBTRACTIVE_DITHER_2 in both spellings", () => {
    const row = { COMPRESSED_DATA: rice(3, -2147483646, -2147483647, -2147483648), ZSCALE: 0.5, ZZERO: 10 };
    const columns = { ...data, ZSCALE: "1D", ZZERO: "1D" };
    const cards = { ...image("RICE_1", -64, 4), ZQUANTIZ: "'SUBTRACTIVE_DITHER_2'", ZDITHER0: 1, ZBLANK: -2147483648 };
    const numbers = ditherNumbers();
    const first = (3 - numbers[Math.floor(numbers[0]! * 500)]! + 0.5) * 0.5 + 10;
    expect(read({ cards, columns, rows: [row] })).toEqual([first, 0, 0, Number.NaN]);
    // The keyword may say that -2147483647 is undefined, as files of the reference library do.
    const other = { ...cards, ZBLANK: -2147483647 };
    expect(read({ cards: other, columns, rows: [row] })[2]).toBeNaN();
  });
});

describe("what breaks the rules", () => {
  const good: TileFile = {
    cards: { ...image("RICE_1", 16, 3, 2), ...byteWidth(2) },
    columns: data,
    rows: [{ COMPRESSED_DATA: riceEncode([1, 2, 3], 2) }, { COMPRESSED_DATA: riceEncode([4, 5, 6], 2) }],
  };
  const cards = (more: TileFile["cards"]): TileFile => ({ ...good, cards: { ...good.cards, ...more } });
  const code = (method: string, bitpix: number, bytes: Uint8Array): TileFile => ({
    cards: image(method, bitpix, 3),
    columns: data,
    rows: [{ COMPRESSED_DATA: bytes }],
  });
  const inHeader = "header";
  const inData = "data";
  const cases: readonly [string, TileFile, RegExp, "header" | "data"][] = [
    ["an unknown method", cards({ ZCMPTYPE: "'ZIP'" }), /ZCMPTYPE is 'ZIP'/, inHeader],
    ["a tile of no width", cards({ ZTILE1: 0 }), /ZTILE1 is 0/, inHeader],
    ["a wrong ZBITPIX", cards({ ZBITPIX: 15 }), /ZBITPIX is 15/, inHeader],
    ["8-byte Rice pixels", cards(byteWidth(8)), /BYTEPIX is 8, expected 1, 2 or 4/, inHeader],
    ["more tiles than rows", cards({ ZNAXIS2: 3 }), /needs 3 tiles, the table has 2 rows/, inHeader],
    [
      "a huge image in one tile",
      cards({ ZNAXIS1: 50000, ZNAXIS2: 50000, ZTILE2: 50000 }),
      /50000 x 50000 pixels cannot be in/,
      inHeader,
    ],
    [
      "a heap that the file lacks",
      cards({ ZNAXIS1: 50000, ZNAXIS2: 50000, ZTILE2: 50000, PCOUNT: 1e10 }),
      /cannot be in \d{2} bytes/,
      inHeader,
    ],
    ["an unknown quantisation", cards({ ZBITPIX: -32, ZQUANTIZ: "'OTHER'" }), /ZQUANTIZ is 'OTHER'/, inHeader],
    [
      "a dither without seed",
      cards({ ZBITPIX: -32, ZQUANTIZ: "'SUBTRACTIVE_DITHER_1'" }),
      /ZDITHER0 is missing/,
      inHeader,
    ],
    ["floats in Rice without ZSCALE", cards({ ZBITPIX: -32 }), /no ZSCALE/, inData],
    ["a tile without data", { ...good, rows: [good.rows[0]!, {}] }, /tile 2 has no data/, inData],
    [
      "a text column for ZBLANK",
      { ...good, columns: { ...data, ZBLANK: "1PB" } },
      /column ZBLANK .* does not hold a number/,
      inData,
    ],
    [
      "a Rice split size beyond the most",
      code("RICE_1", 32, new Uint8Array([0, 0, 0, 1, 0xf8, 1, 1, 1, 1])),
      /split size of 30/,
      inData,
    ],
    ["Rice code that ends early", code("RICE_1", 32, new Uint8Array([0, 0, 0, 1, 0x08])), /ends early/, inData],
    [
      "values beyond ZBITPIX",
      code("RICE_1", 16, riceEncode([1, 70000, 2], 4)),
      /value 70000, but the pixels have 16 bits/,
      inData,
    ],
    [
      "single bytes for floats",
      code("GZIP_1", -32, gzipSync(new Uint8Array(3))),
      /8 bits a pixel, but ZBITPIX is -32/,
      inData,
    ],
    [
      "a gzip tile that expands to more",
      code("GZIP_1", 16, gzipSync(new Uint8Array(1 << 20))),
      /gzip stream is damaged/,
      inData,
    ],
    [
      "a PLIO list beyond its tile",
      code("PLIO_1", 16, words(0, 7, -100, 8, 0, 0, 0, 0x4fff)),
      /draws beyond the tile/,
      inData,
    ],
    [
      "HCOMPRESS code turned on its side",
      code("HCOMPRESS_1", 16, new Uint8Array([0xdd, 0x99, 0, 0, 0, 3, 0, 0, 0, 1, ...new Uint8Array(20)])),
      /1 x 3 pixels, the tile of 3 x 1/,
      inData,
    ],
  ];
  it("the good file reads", () => expect(read(good)).toEqual([1, 2, 3, 4, 5, 6]));

  it.each(cases)("%s", (_, file, message, part) => {
    const bytes = tileFile(file);
    const error = thrown(() => pixelsOf(bytes));
    expect(error).toBeInstanceOf(FitsError);
    const { at, problem, remedy } = error as FitsError;
    expect(problem).toMatch(message);
    expect(remedy.length).toBeGreaterThan(5);
    const dataStart = Math.ceil((bytes.indexOf("END   ") + 80) / 2880) * 2880;
    expect(at.offsetBytes >= dataStart ? inData : inHeader).toBe(part);
    expect(at.offsetBytes).toBeLessThan(bytes.length);
  });

  it("any change of a card or of bytes gives pixels or a FitsError", () => {
    const files = [
      good,
      cases[11]![1],
      code("GZIP_2", 16, gzipSync(new Uint8Array(6))),
      code("PLIO_1", 16, words(0, 7, -100, 9, 0, 0, 0, 1, 0x4002)),
    ];
    const originals = files.map((file) => tileFile(file));
    const value = fc.constantFrom(
      "0",
      "-1",
      "1",
      "3",
      "70000",
      "99999999999",
      "1.5",
      "-32",
      "64",
      "'1PI'",
      "'GZIP_1'",
      "'HCOMPRESS_1'",
      "'PLIO_1'",
      "'ZSCALE'",
      "T",
      "",
    );
    const card = fc.record({ card: fc.nat(30), value });
    const byte = fc.record({ at: fc.nat(200), value: fc.integer({ min: 0, max: 255 }) });
    fc.assert(
      fc.property(
        fc.constantFrom(...originals),
        fc.array(card, { maxLength: 3 }),
        fc.array(byte, { maxLength: 3 }),
        (original, newCards, newBytes) => {
          const bytes = Buffer.from(original);
          for (const { card: index, value: text } of newCards)
            if (bytes.toString("latin1", 80 * index, 80 * index + 3) !== "END")
              bytes.write(`= ${text.padStart(20)}`.padEnd(72), 80 * index + 8);
          for (const { at, value: byteValue } of newBytes) if (2880 + at < bytes.length) bytes[2880 + at] = byteValue;
          const error = thrown(() => pixelsOf(bytes));
          if (error !== undefined) expect(error).toBeInstanceOf(FitsError);
        },
      ),
      { numRuns: 1500 },
    );
  });
});

function thrown(call: () => unknown): unknown {
  try {
    call();
  } catch (error) {
    return error;
  }
  return undefined;
}
