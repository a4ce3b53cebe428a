// Every tile-compressed image of ../shared/data/compressed and conformance, read as a program would: native type, rows in
// blocks from the bottom up. The pixels are those of ../shared/data/expected.json (astropy 5.2.1, funpack 4.2.0 and
// tile_decode.py, see "Where readers disagree" there); the types follow from BITPIX, BZERO, BSCALE and blanks.
import { createHash } from "node:crypto";
import { describe, expect, it } from "vitest";
import { memoryBytes, openFile, slice } from "../../src/read/file-bytes.js";
import { openFits, openPixels } from "../../src/read/hdu.js";
import { pixelArray } from "../../src/read/scaling.js";
import { FitsError } from "../../src/terms/errors.js";
import { type ExpectedHdu, expectedFiles, hasShared, sharedPath, withoutShared } from "./shared-data.js";

type Image = ExpectedHdu & { readonly bscale?: number; readonly bzero?: number; readonly blank?: number | null };
const files = expectedFiles();
const bytesOf = (path: string) => {
  const file = openFile(sharedPath(`data/${path}`));
  const bytes = slice(file, 0, file.lengthBytes);
  file.close();
  return memoryBytes(path, bytes);
};
const isTiled = ([path]: readonly [string, unknown]) =>
  openFits(bytesOf(path)).hdus.some(({ kind }) => kind === "tiled-image");
const good = files
  .filter(([path, { mustFail }]) => !mustFail && /^(compressed|conformance\/(astropy|cfitsio))\//.test(path))
  .filter(isTiled);
const bad = files.filter(([path, { mustFail }]) => mustFail && path.startsWith("compressed/bad/"));

describe.skipIf(!hasShared)(`tile-compressed files${hasShared ? "" : ` (${withoutShared})`}`, () => {
  const seen = new Map<string, number>();

  it("are all there", () => {
    expect(good.filter(([path]) => path.startsWith("compressed/")).length).toBe(128);
    expect(good.filter(([path]) => path.startsWith("conformance/")).length).toBe(5);
    expect(bad.length).toBe(10);
  });

  it.each(good)("%s", (path, { hdus }) => {
    const { source, hdus: ours } = openFits(bytesOf(path));
    let read = 0;
    for (const expected of (hdus ?? []) as Image[]) {
      const hdu = ours[expected.index]!;
      if (hdu.kind !== "tiled-image") continue;
      const reader = openPixels(source, hdu);
      expect([path, reader.type]).toEqual([
        path,
        typeOf(
          expected,
          hdu.header.cards.map(({ keyword }) => keyword),
        ),
      ]);
      const total = reader.height * reader.planes;
      const pixels = pixelArray(reader.type, total * reader.width);
      // 37 rows: no multiple of any tile height, so that blocks begin within tiles
      for (let end = total; end > 0; end -= 37) {
        const first = Math.max(0, end - 37);
        reader.readRows(first, end - first, pixels.subarray(first * reader.width));
      }
      expect(sha256(pixels)).toBe(expected.sha256);
      const text = (keyword: string) => hdu.header.text(keyword)?.trim() ?? "";
      const kind =
        hdu.bitpix < 0 ? `${text("ZCMPTYPE")} ${text("ZQUANTIZ") || "floats without ZQUANTIZ"}` : text("ZCMPTYPE");
      seen.set(kind, (seen.get(kind) ?? 0) + 1);
      read++;
    }
    expect(read).toBeGreaterThan(0);
  });

  it("cover every method, alone and with each dither", () => {
    console.log(
      [...seen]
        .map(([kind, n]) => `${kind}: ${n}`)
        .sort()
        .join("; "),
    );
    for (const method of ["RICE_1", "GZIP_1", "GZIP_2", "HCOMPRESS_1", "PLIO_1", "NOCOMPRESS"])
      expect([...seen.keys()]).toContain(method);
    for (const dither of ["NO_DITHER", "SUBTRACTIVE_DITHER_1", "SUBTRACTIVE_DITHER_2"])
      expect([...seen.keys()]).toContain(`RICE_1 ${dither}`);
  });

  it.each(bad)("%s is refused where it is damaged", (path, { why }) => {
    const source = bytesOf(path);
    const before = process.memoryUsage().arrayBuffers;
    const started = performance.now();
    let error: unknown;
    try {
      const { hdus, source: bytes, problem } = openFits(source);
      if (problem !== null) throw problem;
      for (const hdu of hdus.filter(({ kind }) => kind === "tiled-image")) {
        const reader = openPixels(bytes, hdu);
        const total = reader.height * reader.planes;
        reader.readRows(0, total, new Float64Array(total * reader.width));
      }
    } catch (caught) {
      error = caught;
    }
    expect(error, why).toBeInstanceOf(FitsError);
    const { at, remedy } = error as FitsError;
    expect(at.file).toBe(path);
    expect(at.offsetBytes).toBeGreaterThan(0);
    expect(at.offsetBytes).toBeLessThanOrEqual(source.lengthBytes);
    expect(remedy.length).toBeGreaterThan(5);
    expect(performance.now() - started).toBeLessThan(1_000);
    // The largest of these images has 60,000 pixels; nothing may take memory for more than a few copies of it.
    expect(process.memoryUsage().arrayBuffers - before).toBeLessThan(32e6);
    // Where the generator damaged one tile, the message names that tile.
    const tile = /tile \d+/.exec(why ?? "")?.[0];
    if (tile !== undefined) expect(`${(error as FitsError).problem} `).toMatch(new RegExp(`\\b${tile}\\b`));
  });
});

/** The tightest exact type, said again here from table 11 and the meaning of BLANK. */
function typeOf({ bitpix, bscale, bzero, blank }: Image, keywords: readonly string[]): string {
  const scale = bscale ?? 1;
  const zero = bzero ?? 0;
  const mayBeBlank = (blank ?? null) !== null || keywords.includes("BLANK") || keywords.includes("ZBLANK");
  if (bitpix === -64) return "float64";
  if (bitpix === -32) return scale === 1 && zero === 0 ? "float32" : "float64";
  if (scale !== 1 || mayBeBlank) return "float64";
  const types: Record<string, string> = {
    "8 0": "uint8",
    "8 -128": "int8",
    "16 0": "int16",
    "16 32768": "uint16",
    "32 0": "int32",
    "32 2147483648": "uint32",
  };
  return types[`${bitpix} ${zero}`] ?? "float64";
}

function sha256(pixels: ArrayLike<number>): string {
  const bytes = new DataView(new ArrayBuffer(pixels.length * 8));
  for (let i = 0; i < pixels.length; i++)
    if (Number.isNaN(pixels[i])) bytes.setBigUint64(i * 8, 0x7ff8000000000000n, true);
    else bytes.setFloat64(i * 8, pixels[i]!, true);
  return createHash("sha256").update(bytes).digest("hex");
}
