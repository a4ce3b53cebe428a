// Every file of ../shared/data/expected.json: pixels, cards and checksums as astropy 5.2.1 reads them
// (generator: ../shared/data/make_expected.py), errors where a file must be refused.
import { createHash } from "node:crypto";
import { describe, expect, it } from "vitest";
import type { Card, CardValue } from "../../src/read/cards.js";
import { verifyChecksums } from "../../src/read/checksum.js";
import { openFile } from "../../src/read/file-bytes.js";
import { type FitsFile, firstImage, type Hdu, openFits, openPixels } from "../../src/read/hdu.js";
import { FitsError } from "../../src/terms/errors.js";
import {
  type ExpectedFile,
  type ExpectedHdu,
  expectedFiles,
  hasShared,
  sharedPath,
  withoutShared,
} from "./shared-data.js";

const files = expectedFiles();
/** Text that astropy replaces by question marks: the bytes in the file are UTF-8. */
const betterTruth: Record<string, Record<string, unknown>> = {
  "conformance/handmade/header/latin1_bytes.fits": { SITE: "Cerro Ñ" },
};
/** Lenient files that we refuse, each allowed by its `why`. */
const refused = new Set<string>([]);

describe.skipIf(!hasShared)(`files of expected.json${hasShared ? "" : ` (${withoutShared})`}`, () => {
  const read = files.filter(([, file]) => !file.mustFail);
  it("are all there", () => {
    expect(files.length).toBeGreaterThan(400);
    expect(read.length).toBeGreaterThan(350);
  });

  it.each(read)("%s reads as expected", (path, file) => {
    const source = openFile(sharedPath(`data/${path}`));
    try {
      if (refused.has(path)) return void expect(() => openFits(source)).toThrow(FitsError);
      const fits = openFits(source);
      for (const hdu of file.hdus ?? []) compareHdu(path, fits, hdu, file);
    } finally {
      source.close();
    }
  });

  it.each(files.filter(([, file]) => file.mustFail))("%s is refused", (path) => {
    const source = openFile(sharedPath(`data/${path}`));
    const started = performance.now();
    const error = thrown(() => readAll(openFits(source)));
    source.close();
    expect(error).toBeInstanceOf(FitsError);
    const { at, problem, remedy, message } = error as FitsError;
    expect(at.file).toBe(sharedPath(`data/${path}`));
    expect(at.offsetBytes).toBeGreaterThanOrEqual(0);
    expect(problem.length).toBeGreaterThan(5);
    expect(remedy.length).toBeGreaterThan(5);
    expect(message).toContain(`at byte ${at.offsetBytes}`);
    expect(performance.now() - started).toBeLessThan(5_000);
  });

  it("never gives a 3-pixel-wide colour image as three planes", () => {
    const source = openFile(sharedPath("data/conformance/handmade/pixels/cube_rgb_first_axis.fits"));
    const { source: bytes, hdu } = firstImage(source);
    const { width, height, planes } = openPixels(bytes, hdu);
    source.close();
    expect([width, height, planes]).toEqual([3, 9, 6]);
  });
});

function compareHdu(path: string, fits: FitsFile, expected: ExpectedHdu, file: ExpectedFile): void {
  const hdu = fits.hdus[expected.index];
  if (expected.error !== undefined) {
    expect(fits.problem).toBeInstanceOf(FitsError);
    return;
  }
  if (expected.type === "NonstandardHDU" || (file.lenient && expected.type === "CorruptedHDU")) return;
  expect(hdu, `HDU ${expected.index} of ${path}`).toBeDefined();
  if (expected.pixels !== undefined && expected.pixels > 0) {
    expect(hdu!.axes).toEqual(expected.naxis);
    expect(hdu!.bitpix).toBe(expected.bitpix);
    const pixels = physical(fits, hdu!);
    expect(pixels.length).toBe(expected.pixels);
    expect(sha256(pixels)).toBe(expected.sha256);
  } else if (expected.pixels === 0) expect(["empty", "groups", "image"]).toContain(hdu!.kind);
  if (expected.cards !== undefined) compareCards(hdu!, expected.cards, { ...file.truth, ...betterTruth[path] });
  if (expected.checksum !== undefined) {
    const state = verifyChecksums(fits.source, hdu!);
    expect([state.checksum, state.datasum]).toEqual(expected.checksum);
  }
}

function compareCards(
  hdu: Hdu,
  expected: NonNullable<ExpectedHdu["cards"]>,
  truth: Readonly<Record<string, unknown>>,
): void {
  const orphan = (card: Card) => card.keyword === "CONTINUE" && Object.keys(truth).length > 0;
  const own = hdu.header.cards
    .slice(0, 400)
    .filter((card) => !orphan(card) && !(card.keyword === "NAXIS" && hdu.axes.length === 0));
  const ours = own.map((card) => {
    const shown = [card.keyword, plain(card), card.kind === "commentary" ? "" : card.comment, type(card)];
    if (card.kind === "unparsable") return [card.keyword, { unparsable: `= ${card.comment}` }, "", "unparsable"];
    return card.keyword in truth ? [card.keyword, truth[card.keyword], "", "truth"] : shown;
  });
  // astropy itself adds EXTEND to a primary header that lacks it, and rewrites the axes of a group header without any.
  const added = (keyword: string) =>
    (keyword === "EXTEND" && !hdu.header.get("EXTEND")) || (keyword.startsWith("NAXIS") && hdu.axes.length === 0);
  const theirs = expected
    .filter(([keyword]) => !added(keyword))
    .map(([keyword, ...rest]) => (keyword in truth ? [keyword, truth[keyword], "", "truth"] : [keyword, ...rest]));
  expect(ours).toEqual(theirs);
  for (const [keyword, value] of Object.entries(truth)) expect(hdu.header.get(keyword)?.value).toEqual(value);
}

const typeNames: Partial<Record<Card["kind"], string>> = {
  integer: "int",
  real: "float",
  logical: "bool",
  "no-value": "noValue",
};
const type = (card: Card) => typeNames[card.kind] ?? card.kind;
function plain({ value, kind }: Card): unknown {
  if (typeof value === "bigint") return { bigint: value.toString() };
  if (kind === "real" && !Number.isFinite(value)) return { nonFinite: Number(value) > 0 ? "Infinity" : "-Infinity" };
  return value satisfies CardValue;
}

function physical(fits: FitsFile, hdu: Hdu): Float64Array {
  const reader = openPixels(fits.source, hdu);
  const pixels = new Float64Array(reader.width * reader.height * reader.planes);
  reader.readRows(0, reader.height * reader.planes, pixels);
  return pixels;
}

function readAll(fits: FitsFile): void {
  if (fits.problem !== null) throw fits.problem;
  for (const hdu of fits.hdus) if (hdu.kind === "image" || hdu.kind === "tiled-image") physical(fits, hdu);
}

function sha256(pixels: Float64Array): string {
  const bytes = new DataView(new ArrayBuffer(pixels.length * 8));
  for (let i = 0; i < pixels.length; i++)
    if (Number.isNaN(pixels[i])) bytes.setBigUint64(i * 8, 0x7ff8000000000000n, true);
    else bytes.setFloat64(i * 8, pixels[i]!, true);
  return createHash("sha256").update(bytes).digest("hex");
}

function thrown(call: () => unknown): unknown {
  try {
    call();
  } catch (error) {
    return error;
  }
  return undefined;
}
