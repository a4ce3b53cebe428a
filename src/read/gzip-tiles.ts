import { gunzipSync } from "node:zlib";
import { CodeError } from "./code-error.js";

/**
 * Unpacks a gzip tile.
 * @param mostBytes - what the tile may expand to; more is an error before it is allocated
 * @throws CodeError when the stream is damaged
 */
export function gunzipTile(code: Uint8Array, mostBytes: number): Uint8Array {
  try {
    return gunzipSync(code, { maxOutputLength: Math.max(1, mostBytes) });
  } catch (cause) {
    throw new CodeError(`its gzip stream is damaged (${(cause as Error).message})`, { cause });
  }
}

/** GZIP_2 stores all first bytes, then all second bytes, and so on (section 10.4.2); this puts values together again. */
export function unshuffle(bytes: Uint8Array, count: number): Uint8Array {
  const size = bytes.length / count;
  const values = new Uint8Array(bytes.length);
  for (let byte = 0; byte < size; byte++)
    for (let i = 0, from = byte * count, to = byte; i < count; i++, from++, to += size) values[to] = bytes[from]!;
  return values;
}
