import { gzipSync } from "node:zlib";
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { memoryBytes } from "../../src/read/file-bytes.js";
import { firstImage, openFits, openPixels } from "../../src/read/hdu.js";
import { blockBytes } from "../../src/read/header.js";
import { FitsError } from "../../src/terms/errors.js";

/** Opens everything that can be opened; gives how many pixels came out. Anything but a FitsError is a failure. */
function readAll(bytes: Uint8Array): number {
  let pixels = 0;
  try {
    const { source, hdus } = openFits(memoryBytes("any", bytes));
    for (const hdu of hdus) {
      if (hdu.kind !== "image" && hdu.kind !== "tiled-image") continue;
      const reader = openPixels(source, hdu);
      const band = new Float64Array(reader.width * Math.min(reader.height, 64));
      for (let row = 0; row < reader.height * reader.planes; row += 64) {
        const rows = Math.min(64, reader.height * reader.planes - row, reader.height);
        reader.readRows(row, rows, band);
        pixels += rows * reader.width;
      }
    }
  } catch (error) {
    if (!(error instanceof FitsError)) throw error;
    expect(error.at.offsetBytes).toBeGreaterThanOrEqual(0);
    expect(Number.isInteger(error.at.offsetBytes)).toBe(true);
    expect(error.remedy).not.toBe("");
  }
  return pixels;
}

const pad = (text: string) => text.padEnd(80).slice(0, 80);
function file(cards: readonly string[], data: Uint8Array): Uint8Array {
  const text = [...cards, "END"].map(pad).join("");
  const head = new TextEncoder().encode(text.padEnd(Math.ceil(text.length / blockBytes) * blockBytes));
  const bytes = new Uint8Array(head.length + data.length);
  bytes.set(head);
  bytes.set(data, head.length);
  return bytes;
}

describe("any bytes give a header or a FitsError", () => {
  it("random bytes", () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 6000 }), (bytes) => void readAll(bytes)),
      { numRuns: 300 },
    );
  });

  it("random bytes behind SIMPLE, XTENSION and gzip marks", () => {
    const start = fc.constantFrom("SIMPLE  =                    T", "XTENSION= 'BINTABLE'", "\x1f\x8b\x08");
    fc.assert(
      fc.property(start, fc.uint8Array({ maxLength: 9000 }), (text, rest) => {
        const head = Uint8Array.from(text, (c) => c.charCodeAt(0));
        readAll(Uint8Array.from([...head, ...rest]));
      }),
      { numRuns: 200 },
    );
  });

  it("random structure keywords, plain and compressed, with random data", () => {
    const number = fc.oneof(fc.integer({ min: -3, max: 40 }), fc.constantFrom(2 ** 31, 2 ** 53 - 1, 1e15, 999, 1000));
    const bitpix = fc.oneof(fc.constantFrom(8, 16, 32, 64, -32, -64), number);
    const plain = fc
      .record({
        bitpix,
        naxis: fc.integer({ min: -1, max: 5 }),
        axes: fc.array(number, { maxLength: 5 }),
        bzero: number,
      })
      .map(({ bitpix, naxis, axes, bzero }) => [
        "SIMPLE  =                    T",
        `BITPIX  = ${bitpix}`,
        `NAXIS   = ${naxis}`,
        ...axes.map((axis, i) => `NAXIS${i + 1}  = ${axis}`),
        `BZERO   = ${bzero}`,
        "BLANK   = 3",
      ]);
    const tiled = fc
      .record({
        bitpix,
        type: fc.constantFrom("RICE_1", "GZIP_1", "GZIP_2", "HCOMPRESS_1", "PLIO_1", "NOCOMPRESS", "OTHER"),
        axes: fc.tuple(number, number),
        tile: fc.tuple(number, number),
        rows: number,
        pcount: fc.integer({ min: 0, max: 3000 }),
        form: fc.constantFrom("1PB(99)", "1QB(99)", "1PI(9)", "8B", "1PJ", "X"),
      })
      .map(({ bitpix, type, axes, tile, rows, pcount, form }) => [
        "SIMPLE  =                    T",
        "BITPIX  =                    8",
        "NAXIS   =                    0",
        ...new Array<string>(32).fill("COMMENT"),
        "END",
        "XTENSION= 'BINTABLE'",
        "BITPIX  = 8",
        "NAXIS   = 2",
        "NAXIS1  = 8",
        `NAXIS2  = ${rows}`,
        `PCOUNT  = ${pcount}`,
        "GCOUNT  = 1",
        "TFIELDS = 1",
        "TTYPE1  = 'COMPRESSED_DATA'",
        `TFORM1  = '${form}'`,
        "ZIMAGE  = T",
        `ZCMPTYPE= '${type}'`,
        `ZBITPIX = ${bitpix}`,
        "ZNAXIS  = 2",
        `ZNAXIS1 = ${axes[0]}`,
        `ZNAXIS2 = ${axes[1]}`,
        `ZTILE1  = ${tile[0]}`,
        `ZTILE2  = ${tile[1]}`,
      ]);
    fc.assert(
      fc.property(fc.oneof(plain, tiled), fc.uint8Array({ minLength: 0, maxLength: 6000 }), (cards, data) => {
        const bytes = file(cards, data);
        // Compressed data may expand, but never beyond what the declared image and the file's size make plausible.
        expect(readAll(bytes)).toBeLessThan(3e6);
      }),
      { numRuns: 1500 },
    );
  });

  it("a header that claims a huge image in a small file is an error, not an allocation", () => {
    const bytes = file(
      ["SIMPLE  =                    T", "BITPIX  = -64", "NAXIS   = 2", "NAXIS1  = 100000", "NAXIS2  = 100000"],
      new Uint8Array(2880),
    );
    const before = process.memoryUsage().arrayBuffers;
    expect(() => firstImage(memoryBytes("huge", bytes))).toThrow(FitsError);
    expect(process.memoryUsage().arrayBuffers - before).toBeLessThan(1e6);
  });
});

describe("gzip", () => {
  const small = ["SIMPLE  =                    T", "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 4", "NAXIS2  = 4"];

  it("a small image whose stream goes on for 400 MB is an error, not an allocation", () => {
    const packed = gzipSync(file(small, new Uint8Array(400_000_000)), { level: 1 });
    const before = process.resourceUsage().maxRSS;
    expect(() => firstImage(memoryBytes("bomb.gz", packed))).toThrow(/goes on/);
    // maxRSS is in kilobytes and only ever grows; a quarter of the stream would show.
    expect(process.resourceUsage().maxRSS - before).toBeLessThan(250_000);
  });

  it("a claim that no stream of that length can hold is an error", () => {
    const claim = ["SIMPLE  = T", "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 100000", "NAXIS2  = 100000"];
    expect(() => firstImage(memoryBytes("claim.gz", gzipSync(file(claim, new Uint8Array(2880)))))).toThrow(FitsError);
  });

  it("an image that packs well is read, with what follows it", () => {
    const big = [...small.slice(0, 3), "NAXIS1  = 3000", "NAXIS2  = 2000"];
    const bytes = file(big, new Uint8Array(Math.ceil(12_000_000 / blockBytes) * blockBytes + 5 * blockBytes));
    expect(readAll(gzipSync(bytes))).toBe(6_000_000);
  });
});

describe("headers written by the test's own writer read back the same", () => {
  const keyword = fc
    .stringMatching(/^[A-Z][A-Z0-9_-]{0,7}$/)
    .filter(
      (k) =>
        !/^(END|COMMENT|HISTORY|CONTINUE|HIERARCH|SIMPLE|BITPIX|NAXIS\d*|PCOUNT|GCOUNT|GROUPS|BLANK|BZERO|BSCALE)$/.test(
          k,
        ),
    );
  const printable = fc.stringMatching(/^[ -~]{0,40}$/).map((text) => text.trimEnd());
  const value = fc.oneof(
    printable
      .filter((text) => !text.endsWith("&"))
      .map((v) => ({ kind: "string", value: v, written: `'${v.replaceAll("'", "''")}'` })),
    fc.integer().map((v) => ({ kind: "integer", value: v, written: String(v) })),
    fc.bigInt({ min: 2n ** 53n, max: 2n ** 63n - 1n }).map((v) => ({ kind: "integer", value: v, written: String(v) })),
    fc
      .double({ noNaN: true, noDefaultInfinity: true })
      // toExponential drops the sign of -0.
      .map((v) => (v === 0 ? 0 : v))
      .map((v) => ({ kind: "real", value: v, written: v.toExponential().replace("e", "E") })),
    fc.boolean().map((v) => ({ kind: "logical", value: v, written: v ? "T" : "F" })),
  );
  it("fixed or free format, with comments", () => {
    const cards = fc.array(
      fc.record({ keyword, value, comment: printable.map((c) => c.trim()), width: fc.constantFrom(0, 20, 30) }),
      { maxLength: 60 },
    );
    fc.assert(
      fc.property(cards, (list) => {
        const lines = list.map(({ keyword: k, value: v, comment, width }) => {
          const line = `${k.padEnd(8)}= ${v.written.padStart(v.kind === "string" ? 0 : width)}`;
          return comment !== "" && line.length + comment.length + 3 <= 80 ? `${line} / ${comment}` : line;
        });
        const bytes = file(["SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 0", ...lines], new Uint8Array(0));
        const read = openFits(memoryBytes("own", bytes)).hdus[0]!.header.cards.slice(3);
        expect(read.map((card) => [card.keyword, card.kind, card.value])).toEqual(
          list.map((card) => [card.keyword, card.value.kind, card.value.value]),
        );
        for (const [i, card] of read.entries()) {
          const { comment } = list[i]!;
          expect(card.comment).toBe(lines[i]!.endsWith(` / ${comment}`) ? comment : "");
        }
      }),
      { numRuns: 300 },
    );
  });
});
