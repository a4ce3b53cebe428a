// fitsjs 0.6.6 (MIT), an independent reader in JavaScript, against ours, pixel for pixel.
// Some of its habits are undone before comparing, because they are not what the standard says:
// - 16-bit values wrap in its arrays: compared modulo 65536;
// - it subtracts dithering numbers from integer images as well: its values lie within half a unit of ours;
// - without ZDITHER0 it reads its first dithering number from before the table: its copy of the header gets that card.
import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { memoryBytes } from "../../src/read/file-bytes.js";
import { firstImage, openPixels } from "../../src/read/hdu.js";
import { fitsjsPixels } from "./fitsjs-shim.js";
import { hasShared, sharedPath, withoutShared } from "./shared-data.js";

const plain = [
  "compressed/u16.fits",
  "compressed/i16.fits",
  "compressed/f32.fits",
  "compressed/u8.fits",
  "frames/feder_sip-wcs.fit",
];
const rice = [
  "sky/lowell-5945/20190326.0126.fits.fz",
  "sky/lowell-5945/20190326.0159.fits.fz",
  "compressed/i16__a_rice_1.fits.fz",
];

function ours(bytes: Uint8Array): { pixels: Float64Array; hdu: number; integer: boolean } {
  const { source, hdu } = firstImage(memoryBytes("frame", bytes));
  const reader = openPixels(source, hdu);
  const pixels = new Float64Array(reader.width * reader.height);
  reader.readRows(0, reader.height, pixels);
  return { pixels, hdu: hdu.index, integer: hdu.bitpix > 0 };
}

/** The file with one more card before the END of its second header, where the last block has room. */
function withCard(bytes: Buffer, card: string): Buffer {
  const copy = Buffer.from(bytes);
  let end = copy.indexOf("XTENSION", 0, "latin1");
  while (copy.toString("latin1", end, end + 80).trimEnd() !== "END") end += 80;
  if (end % 2880 === 2800) throw new Error("no room for another card");
  copy.write(card.padEnd(80), end, "latin1");
  copy.write("END".padEnd(80), end + 80, "latin1");
  return copy;
}

describe.skipIf(!hasShared)(`fitsjs and our reader agree${hasShared ? "" : ` (${withoutShared})`}`, () => {
  it.each(plain)("on the plain frame %s", async (path) => {
    const bytes = readFileSync(sharedPath(`data/${path}`));
    const { pixels, hdu, integer } = ours(bytes);
    const theirs = await fitsjsPixels(bytes, hdu);
    expect(theirs.length).toBe(pixels.length);
    let different = 0;
    for (let i = 0; i < pixels.length; i++) {
      const same = integer ? ((pixels[i]! - theirs[i]!) & 0xffff) === 0 : Object.is(Math.fround(pixels[i]!), theirs[i]);
      if (!same) different++;
    }
    console.log(`${path}: ${pixels.length} pixels, ${different} different`);
    expect(different).toBe(0);
  });

  it.each(rice)("on the Rice-compressed frame %s", async (path) => {
    const bytes = readFileSync(sharedPath(`data/${path}`));
    const { pixels, hdu } = ours(bytes);
    const theirs = await fitsjsPixels(withCard(bytes, "ZDITHER0=                    1"), hdu);
    expect(theirs.length).toBe(pixels.length);
    let different = 0;
    for (let i = 0; i < pixels.length; i++) {
      const apart = pixels[i]! - theirs[i]!;
      if (!(Math.abs(apart - 65536 * Math.round(apart / 65536)) <= 0.502)) different++;
    }
    console.log(`${path}: ${pixels.length} pixels, ${different} different`);
    expect(different).toBe(0);
  });
});
