import { createHash } from "node:crypto";

/**
 * What a line holds: `f` what the headers say, `s` a measured sub, `p` a pair of subs matched by their stars, `c` a pair
 * of calibration frames.
 */
export type LineKind = "f" | "s" | "p" | "c";

/** Kind and 32 digits of the key. */
const nameBytes = 33;
const sumDigits = 16;
const payloadAt = nameBytes + 1 + sumDigits + 1;

/**
 * One line of the store: kind and key, checksum, payload, and a newline. A line that was cut short or damaged does not
 * pass {@link readLine}.
 * @param key - 32 hexadecimal digits
 * @param payload - text without newlines, as JSON is
 */
export function writeLine(kind: LineKind, key: string, payload: string): Buffer {
  const name = `${kind}${key}`;
  return Buffer.from(`${name} ${checksum(name, payload)} ${payload}\n`);
}

/** Kind and key of a line as the store looks it up, or null when this is no line of the store. The payload is not checked. */
export function nameOfLine(bytes: Buffer, from: number, to: number): string | null {
  if (to - from < payloadAt || bytes[from + nameBytes] !== 0x20 || bytes[from + payloadAt - 1] !== 0x20) return null;
  const name = bytes.toString("latin1", from, from + nameBytes);
  return /^[fspc][0-9a-f]{32}$/.test(name) ? name : null;
}

/** Name and payload of a line without its newline; null when the checksum does not fit. */
export function readLine(line: Buffer): { name: string; payload: string } | null {
  const name = nameOfLine(line, 0, line.length);
  if (name === null) return null;
  const payload = line.toString("utf8", payloadAt);
  return line.toString("latin1", nameBytes + 1, payloadAt - 1) === checksum(name, payload) ? { name, payload } : null;
}

const checksum = (name: string, payload: string) =>
  createHash("sha256").update(name).update(payload).digest("hex").slice(0, sumDigits);
