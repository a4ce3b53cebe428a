import type { MimeBundle } from "../messages/message.js";

const signatures: readonly (readonly [type: string, bytes: readonly number[]])[] = [
  ["image/png", [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]],
  ["image/jpeg", [0xff, 0xd8, 0xff]],
  ["image/gif", [0x47, 0x49, 0x46, 0x38]],
];

/** Bytes that are a picture, as that picture; undefined for other bytes. */
export function pictureBundle(bytes: Uint8Array): MimeBundle | undefined {
  const found = signatures.find(([, start]) => start.every((byte, i) => bytes[i] === byte));
  if (found === undefined) return undefined;
  const [type] = found;
  const data = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength).toString("base64");
  return { [type]: data, "text/plain": `[${type}, ${bytes.length} bytes]` };
}
