import { gunzipSync, type ZlibOptions } from "node:zlib";
import { FitsError } from "../terms/errors.js";
import { type ByteSource, memoryBytes, slice } from "./file-bytes.js";

/** Deflate cannot shrink by more than this, so a file bounds what may come out of it (RFC 1951: 258 bytes from 2 bits). */
const mostExpansion = 1032;
const mostBytes = 2 ** 31;
/** Packed bytes that are looked at first; they hold the headers of a sub. */
const startBytes = 16_384;
/** Room for further extensions and padding beyond what the first headers declare. */
const slackBytes = 32 << 20;

/** True when the bytes are a gzip member, whatever the file is called. */
export function isGzip(source: ByteSource): boolean {
  const [first, second] = slice(source, 0, 2);
  return first === 0x1f && second === 0x8b;
}

/**
 * The uncompressed bytes of a gzip file. What it may expand to is bounded, before it is unpacked, by what its own
 * headers declare: a small file cannot ask for much memory.
 * @param declaredEnd - byte at which the data of the headers within the first bytes end
 * @throws FitsError when the stream is cut short, damaged, goes on far beyond its image, or does not hold FITS
 */
export function gunzipped(source: ByteSource, declaredEnd: (start: ByteSource) => number): ByteSource {
  const packed = slice(source, 0, source.lengthBytes);
  const start = gunzip(source, packed.subarray(0, startBytes), startBytes * mostExpansion, { finishFlush: 2 });
  if (!startsLikeFits(start)) throw notFits(source);
  const declared = Math.max(start.length, declaredEnd(memoryBytes(source.name, start)));
  const most = Math.min(2 * declared + slackBytes, packed.length * mostExpansion + slackBytes, mostBytes);
  return memoryBytes(source.name, gunzip(source, packed, most, {}));
}

function gunzip(source: ByteSource, packed: Uint8Array, maxOutputLength: number, options: ZlibOptions): Uint8Array {
  try {
    return gunzipSync(packed, { ...options, maxOutputLength });
  } catch (cause) {
    const { code, message } = cause as NodeJS.ErrnoException;
    const at = { file: source.name, offsetBytes: 0 };
    if (code === "ERR_BUFFER_TOO_LARGE")
      throw new FitsError(
        at,
        `the gzip stream goes on beyond ${Math.round(maxOutputLength / 1e6)} MB, far more than its first headers declare`,
        "If it holds many images, unpack it first; else leave it out",
        cause,
      );
    const problem = `the gzip stream is damaged or cut short (${message})`;
    throw new FitsError(at, problem, "Copy the file again or leave it out", cause);
  }
}

const startsLikeFits = (bytes: Uint8Array) => String.fromCharCode(...bytes.subarray(0, 6)) === "SIMPLE";
const notFits = (source: ByteSource) =>
  new FitsError(
    { file: source.name, offsetBytes: 0 },
    "the gzip file does not hold FITS",
    "Leave it out of the folder; nightyield reads .fits, .fit, .fts, .fz and .gz of these",
  );
