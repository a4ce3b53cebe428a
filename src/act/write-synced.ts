import { dirname } from "node:path";
import { CannotError } from "../terms/errors.js";
import { disk, type FileOps } from "./file-ops.js";

/**
 * Writes a file whole or not at all, and onto the disk before it returns: beside its place first, synced, then moved
 * there. What stood there before stays until then.
 * @throws CannotError when the disk is full or the folder cannot be written
 */
export function writeSynced(path: string, content: string | Uint8Array, ops: FileOps = disk): void {
  const beside = `${path}.${process.pid}.part`;
  try {
    if (ops.look(beside) !== null) ops.remove(beside);
    ops.writeNew(beside, content);
    ops.rename(beside, path);
    ops.syncFolder(dirname(path));
  } catch (cause) {
    try {
      if (ops.look(beside) !== null) ops.remove(beside);
    } catch {
      // What counts is the first error.
    }
    throw new CannotError(
      `Cannot write ${path}: ${(cause as Error).message}. Nothing of it was changed; make room or make the folder writable, then try again`,
      { cause },
    );
  }
}
