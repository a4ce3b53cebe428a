import { deflateRawSync, inflateRawSync } from "node:zlib";
import { CannotError } from "../terms/errors.js";

/** A file inside a zip. Names use forward slashes. */
export interface ZipEntry {
  readonly name: string;
  readonly bytes: Uint8Array;
}

const signature = { local: 0x04034b50, central: 0x02014b50, end: 0x06054b50 } as const;
// 1 January 1980, midnight: the format's zero. A true time would make each zip differ.
const date = 0x0021;
const utf8Names = 0x0800;
const mostBytes = 1e9;

/**
 * Packs files as a zip (PKWARE APPNOTE 6.3.3, deflate). The same entries give the same bytes: order is kept, no times
 * and no file modes are written.
 */
export function writeZip(entries: readonly ZipEntry[]): Uint8Array {
  const parts: Uint8Array[] = [];
  const central: Uint8Array[] = [];
  let offset = 0;
  for (const { name, bytes } of entries) {
    const nameBytes = Buffer.from(name);
    const packed = deflateRawSync(bytes, { level: 9 });
    const isSmaller = packed.length < bytes.length;
    const content = isSmaller ? packed : bytes;
    const shared = Buffer.alloc(26);
    shared.writeUInt16LE(20, 0); // version that can read it: 2.0
    shared.writeUInt16LE(utf8Names, 2);
    shared.writeUInt16LE(isSmaller ? 8 : 0, 4);
    shared.writeUInt16LE(date, 8);
    shared.writeUInt32LE(crc32(bytes), 10);
    shared.writeUInt32LE(content.length, 14);
    shared.writeUInt32LE(bytes.length, 18);
    shared.writeUInt16LE(nameBytes.length, 22);
    parts.push(uint32(signature.local), shared, nameBytes, content);
    const where = Buffer.alloc(14); // comment, disk and attributes stay zero
    where.writeUInt32LE(offset, 10);
    central.push(uint32(signature.central), Buffer.from([20, 0]), shared, where, nameBytes);
    offset += 4 + shared.length + nameBytes.length + content.length;
  }
  const directory = Buffer.concat(central);
  const end = Buffer.alloc(18);
  end.writeUInt16LE(entries.length, 4);
  end.writeUInt16LE(entries.length, 6);
  end.writeUInt32LE(directory.length, 8);
  end.writeUInt32LE(offset, 12);
  return Buffer.concat([...parts, directory, uint32(signature.end), end]);
}

/**
 * Unpacks a zip in memory, and checks it: lengths, checksums, and that no name leads out of a folder.
 * @param file - for messages
 * @throws CannotError when it is no zip, damaged, encrypted, or larger than 1 GB unpacked
 */
export function readZip(bytes: Uint8Array, file: string): ZipEntry[] {
  const data = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const wrong = (problem: string, cause?: unknown) =>
    new CannotError(`Cannot read ${file}: ${problem}. Copy it again from where it came`, { cause });
  const end = data.lastIndexOf(uint32(signature.end));
  if (end < 0 || end + 22 > data.length) throw wrong("it is no zip file, or its end is missing");
  const count = data.readUInt16LE(end + 10);
  let at = data.readUInt32LE(end + 16);
  let total = 0;
  const entries: ZipEntry[] = [];
  try {
    for (let i = 0; i < count; i++) {
      if (data.readUInt32LE(at) !== signature.central) throw wrong(`its list of contents is damaged at byte ${at}`);
      const flags = data.readUInt16LE(at + 8);
      const method = data.readUInt16LE(at + 10);
      const crc = data.readUInt32LE(at + 16);
      const packedLength = data.readUInt32LE(at + 20);
      const length = data.readUInt32LE(at + 24);
      const nameLength = data.readUInt16LE(at + 28);
      const local = data.readUInt32LE(at + 42);
      const name = data.toString("utf8", at + 46, at + 46 + nameLength);
      at += 46 + nameLength + data.readUInt16LE(at + 30) + data.readUInt16LE(at + 32);
      if (name.endsWith("/")) continue;
      if (/^(?:\/|[a-z]:)|\\|(?:^|\/)\.\.(?:\/|$)/i.test(name))
        throw wrong(`it holds the name '${name}', which leads outside`);
      total += length;
      if (total > mostBytes) throw wrong("it would take more than 1 GB unpacked");
      if ((flags & 1) !== 0 || (method !== 0 && method !== 8))
        throw wrong(`'${name}' is packed in a way that is not read`);
      if (data.readUInt32LE(local) !== signature.local) throw wrong(`'${name}' is not where the list of contents says`);
      const from = local + 30 + data.readUInt16LE(local + 26) + data.readUInt16LE(local + 28);
      const packed = data.subarray(from, from + packedLength);
      const content = method === 0 ? packed : inflateRawSync(packed, { maxOutputLength: Math.max(1, length) });
      if (content.length !== length || crc32(content) !== crc)
        throw wrong(`'${name}' is damaged: its checksum is wrong`);
      entries.push({ name, bytes: content });
    }
  } catch (error) {
    if (error instanceof CannotError) throw error;
    throw wrong(`it is damaged (${(error as Error).message})`, error);
  }
  return entries;
}

const crcTable = Uint32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let bit = 0; bit < 8; bit++) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c;
});
function crc32(bytes: Uint8Array): number {
  const table = crcTable;
  let crc = 0xffffffff;
  for (let i = 0; i < bytes.length; i++) crc = table[(crc ^ bytes[i]!) & 255]! ^ (crc >>> 8);
  return (crc ^ 0xffffffff) >>> 0;
}

function uint32(value: number): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeUInt32LE(value, 0);
  return bytes;
}
