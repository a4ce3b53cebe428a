import { createHash } from "node:crypto";
import type { ByteSource } from "../read/file-bytes.js";

/** Bytes of the head hold the headers of a sub; with samples and tail it is 48 KB a file. */
const headBytes = 24 << 10;
const tailBytes = 8 << 10;
const samples = 8;
const sampleBytes = 2 << 10;
/** Larger than head, samples and tail together: files up to this size are read whole. */
const piece = Buffer.alloc(64 << 10);

/** What a file is known by. */
export interface ContentKey {
  /** 32 hexadecimal digits. */
  readonly key: string;
  /** The day that DATE-OBS names in the head, as 2026-03-14; `undated` when there is none, as in gzip files. */
  readonly day: string;
}

/**
 * Knows a file by its content, not by its name or place, without reading all of it: SHA-256 of its size, its head of 24
 * KB, eight evenly spaced samples and its tail; of all bytes of a file up to 64 KB. Noise makes any two exposures differ
 * in every sample.
 *
 * What it cannot notice: a change in place that keeps the size and lies between the samples (pixels painted over in an
 * editor, a bad sector), and changed headers of an extension that starts beyond the head. Subs are not edited; where they
 * were, `--store none` measures anew.
 * @throws CannotError when the file cannot be read
 */
export function contentKey(source: ByteSource): ContentKey {
  const hash = createHash("sha256");
  const { lengthBytes } = source;
  const take = (offsetBytes: number, length: number) => {
    const got = source.readInto(piece.subarray(0, length), offsetBytes);
    hash.update(piece.subarray(0, got));
    return got;
  };
  hash.update(`${lengthBytes}\n`);
  const whole = lengthBytes <= piece.length;
  const first = take(0, whole ? lengthBytes : headBytes);
  const day = dayIn(Math.min(first, headBytes));
  if (!whole) {
    const between = lengthBytes - headBytes - tailBytes;
    for (let i = 0; i < samples; i++)
      take(headBytes + Math.floor(((i + 0.5) / samples) * between - sampleBytes / 2), sampleBytes);
    take(lengthBytes - tailBytes, tailBytes);
  }
  return { key: hash.digest("hex").slice(0, 32), day };
}

/** One key from several things that a result depends on. */
export function keyOf(...parts: readonly string[]): string {
  return createHash("sha256").update(JSON.stringify(parts)).digest("hex").slice(0, 32);
}

/** The day of DATE-OBS in the first bytes of `piece`. */
function dayIn(length: number): string {
  const at = piece.indexOf("DATE-OBS=", 0, "latin1");
  if (at < 0 || at + 40 > length) return "undated";
  return /^DATE-OBS= *'(\d{4}-\d\d-\d\d)/.exec(piece.toString("latin1", at, at + 40))?.[1] ?? "undated";
}
