import { gunzipSync } from "node:zlib";
import { FitsError } from "../terms/errors.js";
import { type ByteSource, memoryBytes, slice } from "./file-bytes.js";

/** Deflate cannot shrink by more than this, so a file bounds what may come out of it (RFC 1951: 258 bytes from 2 bits). */
const mostExpansion = 1032;
const mostBytes = 2 ** 31;

/** True when the bytes are a gzip member, whatever the file is called. */
export function isGzip(source: ByteSource): boolean {
  const [first, second] = slice(source, 0, 2);
  return first === 0x1f && second === 0x8b;
}

/**
 * The uncompressed bytes of a gzip file. What it may expand to is bounded before it is unpacked.
 * @throws FitsError when the stream is cut short, damaged, or does not hold FITS
 */
export function gunzipped(source: ByteSource): ByteSource {
  const packed = slice(source, 0, source.lengthBytes);
  let bytes: Uint8Array;
  try {
    const start = gunzipSync(packed.subarray(0, 4096), { finishFlush: 2, maxOutputLength: 4096 * mostExpansion });
    if (!startsLikeFits(start)) throw notFits(source);
    bytes = gunzipSync(packed, { maxOutputLength: Math.min(mostBytes, packed.length * mostExpansion + 4096) });
  } catch (cause) {
    if (cause instanceof FitsError) throw cause;
    throw new FitsError(
      { file: source.name, offsetBytes: 0 },
      `the gzip stream is damaged or cut short (${(cause as Error).message})`,
      "Copy the file again or leave it out",
      cause,
    );
  }
  return memoryBytes(source.name, bytes);
}

const startsLikeFits = (bytes: Uint8Array) => String.fromCharCode(...bytes.subarray(0, 6)) === "SIMPLE";
const notFits = (source: ByteSource) =>
  new FitsError(
    { file: source.name, offsetBytes: 0 },
    "the gzip file does not hold FITS",
    "Leave it out of the folder; nightyield reads .fits, .fit, .fts, .fz and .gz of these",
  );
