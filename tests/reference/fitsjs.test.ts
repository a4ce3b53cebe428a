// fitsjs 0.6.6 (MIT), an independent reader in JavaScript, against ours, pixel for pixel.
// Two of its habits are undone before comparing, because they are not what the standard says:
// - unsigned 16-bit values above 32767 wrap in its Int16Array: compared modulo 65536;
// - it subtracts the dithering numbers from integer images as well: its values lie within half a unit of ours.
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
    const theirs = await fitsjsPixels(bytes, hdu);
    expect(theirs.length).toBe(pixels.length);
    let different = 0;
    for (let i = 0; i < pixels.length; i++) if (!(Math.abs(pixels[i]! - theirs[i]!) <= 0.502)) different++;
    console.log(`${path}: ${pixels.length} pixels, ${different} different`);
    expect(different).toBe(0);
  });
});
