import { type ByteSource, slice } from "./file-bytes.js";
import type { Hdu } from "./hdu.js";
import { blockBytes } from "./header.js";

/**
 * The 32-bit ones'-complement sum of bytes as big-endian words (FITS Standard 4.0, appendix J).
 * @param bytes - a multiple of 4 bytes long, or padded with zeros in thought
 * @param start - the sum so far
 */
export function onesComplementSum(bytes: Uint8Array, start = 0): number {
  // Two 16-bit columns in doubles never overflow 2^53 for any file; carries are folded at the end.
  let high = start >>> 16;
  let low = start & 0xffff;
  const whole = bytes.length & ~3;
  for (let i = 0; i < whole; i += 4) {
    high += (bytes[i]! << 8) | bytes[i + 1]!;
    low += (bytes[i + 2]! << 8) | bytes[i + 3]!;
  }
  for (let i = whole; i < bytes.length; i++) {
    if (i - whole < 2) high += bytes[i]! << (8 * (1 - (i - whole)));
    else low += bytes[i]! << 8;
  }
  for (;;) {
    const carryLow = Math.floor(low / 65536);
    const carryHigh = Math.floor(high / 65536);
    if (carryLow === 0 && carryHigh === 0) return high * 65536 + low;
    low = (low % 65536) + carryHigh;
    high = (high % 65536) + carryLow;
  }
}

/** Punctuation that the encoding steps around, so that the text is letters and digits only. */
const isExcluded = (c: number) => (c >= 0x3a && c <= 0x40) || (c >= 0x5b && c <= 0x60);

/**
 * The 16-character text of a CHECKSUM card (appendix J.2).
 * @param sum - ones'-complement sum of the HDU with CHECKSUM set to sixteen '0'
 */
export function encodeChecksum(sum: number): string {
  const value = ~sum >>> 0;
  const characters = new Array<number>(16);
  for (let byte = 0; byte < 4; byte++) {
    const v = (value >>> (24 - 8 * byte)) & 0xff;
    const quarter = Math.floor(v / 4) + 0x30;
    const four = [quarter + (v % 4), quarter, quarter, quarter];
    for (let again = true; again; ) {
      again = false;
      for (let pair = 0; pair < 4; pair += 2)
        if (isExcluded(four[pair]!) || isExcluded(four[pair + 1]!)) {
          four[pair]!++;
          four[pair + 1]!--;
          again = true;
        }
    }
    for (let j = 0; j < 4; j++) characters[4 * j + byte] = four[j]!;
  }
  // The text starts at a byte that is not word-aligned, so it is rotated by one.
  return String.fromCharCode(characters[15]!, ...characters.slice(0, 15));
}

/** True: right. False: wrong. Null: the header has no such card, or an empty one. */
export interface ChecksumState {
  readonly checksum: boolean | null;
  readonly datasum: boolean | null;
}

/** Compares CHECKSUM and DATASUM of an HDU with its bytes. */
export function verifyChecksums(source: ByteSource, hdu: Hdu): ChecksumState {
  const text = (keyword: string) => {
    const card = hdu.header.get(keyword);
    return card === undefined || card.value === null ? "" : String(card.value).trim();
  };
  const checksum = text("CHECKSUM");
  const datasum = text("DATASUM");
  if (checksum === "" && datasum === "") return { checksum: null, datasum: null };
  const padded = Math.ceil(hdu.dataLengthBytes / blockBytes) * blockBytes;
  let data = 0;
  const step = 1 << 20;
  for (let done = 0; done < padded; done += step)
    data = onesComplementSum(slice(source, hdu.dataOffsetBytes + done, Math.min(step, padded - done)), data);
  const whole = onesComplementSum(slice(source, hdu.header.offsetBytes, hdu.header.lengthBytes), data);
  return {
    checksum: checksum === "" ? null : whole === 0 || whole === 0xffffffff,
    datasum: datasum === "" ? null : Number(datasum) === data,
  };
}
