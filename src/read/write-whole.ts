import { mkdirSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { dirname } from "node:path";
import { CannotError } from "../terms/errors.js";

/**
 * Writes a file whole or not at all: beside its place first, then moved there.
 * @throws CannotError when the disk is full or the folder cannot be written
 */
export function writeWhole(path: string, content: string | Uint8Array): void {
  const beside = `${path}.${process.pid}.part`;
  try {
    mkdirSync(dirname(path), { recursive: true });
    writeFileSync(beside, content);
    renameSync(beside, path);
  } catch (cause) {
    rmSync(beside, { force: true });
    throw new CannotError(`Cannot write ${path}: ${(cause as Error).message}. Choose another place with --out`, {
      cause,
    });
  }
}
