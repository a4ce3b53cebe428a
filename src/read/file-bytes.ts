import { closeSync, fstatSync, openSync, readSync } from "node:fs";
import { CannotError } from "../terms/errors.js";

/**
 * A length and a way to read a piece. Everything above takes this, so that a test hands over an array and a header
 * costs one small read. Reading is synchronous on purpose: a worker has one frame and nothing else to do.
 */
export interface ByteSource {
  /** Name for messages. */
  readonly name: string;
  readonly lengthBytes: number;
  /**
   * Fills `target` from `offsetBytes` on.
   * @returns how many bytes were there to read; fewer than asked for only at the end of the file
   */
  readInto(target: Uint8Array, offsetBytes: number): number;
}

/**
 * Bytes that are in memory already.
 * @example
 * ```ts
 * import { memoryBytes } from "nightyield";
 * console.log(memoryBytes("three bytes", Uint8Array.of(1, 2, 3)).lengthBytes);
 * ```
 */
export function memoryBytes(name: string, bytes: Uint8Array): ByteSource {
  return {
    name,
    lengthBytes: bytes.length,
    readInto(target, offsetBytes) {
      const piece = bytes.subarray(offsetBytes, offsetBytes + target.length);
      target.set(piece);
      return piece.length;
    },
  };
}

/** A file on disk, opened for reading only. Close it when done. */
export interface OpenFile extends ByteSource {
  close(): void;
}

/**
 * Opens a file for reading only.
 * @throws CannotError when the file cannot be opened or read
 * @example
 * ```ts
 * import { openFile } from "nightyield";
 * const source = openFile("subs/NGC6888_L_30s_0002.fits.fz");
 * console.log(source.lengthBytes, "bytes");
 * source.close();
 * ```
 */
export function openFile(path: string, name = path): OpenFile {
  let descriptor: number;
  let lengthBytes: number;
  try {
    descriptor = openSync(path, "r");
    lengthBytes = fstatSync(descriptor).size;
  } catch (cause) {
    throw new CannotError(`Cannot open ${name}: ${(cause as Error).message}`, { cause });
  }
  return {
    name,
    lengthBytes,
    readInto(target, offsetBytes) {
      let done = 0;
      try {
        while (done < target.length) {
          const got = readSync(descriptor, target, done, target.length - done, offsetBytes + done);
          if (got === 0) break;
          done += got;
        }
      } catch (cause) {
        throw new CannotError(`Cannot read ${name} at byte ${offsetBytes + done}: ${(cause as Error).message}`, {
          cause,
        });
      }
      return done;
    },
    close: () => closeSync(descriptor),
  };
}

/** A piece of a source as a new array; shorter than asked for at the end of the file. */
export function slice(source: ByteSource, offsetBytes: number, lengthBytes: number): Uint8Array {
  const piece = new Uint8Array(Math.max(0, Math.min(lengthBytes, source.lengthBytes - offsetBytes)));
  return piece.subarray(0, source.readInto(piece, offsetBytes));
}
