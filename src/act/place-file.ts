import { basename, dirname, join } from "node:path";
import { cannotLink, codeOf, type FileFacts, type FileOps, sameFile } from "./file-ops.js";

/** Something else has taken the name meanwhile. */
export class NameTaken extends Error {
  override readonly name = "NameTaken";
}

/** What the disk holds is not what was written, or the sub changed meanwhile. */
export class NotTheSame extends Error {
  override readonly name = "NotTheSame";
}

/** A step stands half done and could not be taken back: the run has to stop, the journal says how to go on. */
export class Unfinished extends Error {
  override readonly name = "Unfinished";

  constructor(cause: unknown) {
    super((cause as Error).message, { cause });
  }
}

/**
 * Gives a file another name without ever replacing another file: a second name first, then the first is removed. Where
 * the file system has no second names, it looks first and then renames.
 * @returns false when the names lie on different disks
 * @throws NameTaken
 */
export function rename(ops: FileOps, from: string, to: string): boolean {
  const facts = ops.look(from);
  try {
    ops.link(from, to);
  } catch (error) {
    const code = codeOf(error);
    if (code === "EXDEV") return false;
    if (code === "EEXIST") throw new NameTaken(to, { cause: error });
    if (!cannotLink(code)) throw error;
    if (ops.look(to) !== null) throw new NameTaken(to, { cause: error });
    try {
      ops.rename(from, to);
    } catch (second) {
      if (codeOf(second) === "EXDEV") return false;
      throw second;
    }
    try {
      ops.syncFolder(dirname(to));
    } catch (third) {
      throw new Unfinished(third);
    }
    return true;
  }
  removeSource(ops, from, to, () => {
    const placed = ops.look(to);
    if (facts === null || placed === null || placed.sizeBytes !== facts.sizeBytes || placed.mtimeNs !== facts.mtimeNs)
      throw new NotTheSame(`${to} is not the file that was given this name`);
  });
  return true;
}

/**
 * Removes the source of a move once its new place is checked and on the disk; where anything of this fails, the new name
 * is taken back, so that the sub is where it was.
 * @throws Unfinished when it cannot be taken back either
 */
export function removeSource(ops: FileOps, from: string, to: string, check: () => void): void {
  try {
    check();
    ops.syncFolder(dirname(to));
    ops.remove(from);
  } catch (error) {
    try {
      if (ops.look(from) !== null) ops.remove(to);
    } catch {
      throw new Unfinished(error);
    }
    throw error;
  }
}

/**
 * Copies a file to a name that is free: beside it first, with the time of the original, synced, read back and compared by
 * content hash, then named.
 * @throws NameTaken, NotTheSame
 */
export function copyVerified(
  ops: FileOps,
  { from, part, to, sha256, mtimeNs }: { from: string; part: string; to: string; sha256: string; mtimeNs: bigint },
): void {
  try {
    ops.copyNew(from, part);
    ops.setTime(part, mtimeNs);
    ops.sync(part);
    if (ops.sha256(part) !== sha256)
      throw new NotTheSame(
        ops.sha256(from) === sha256
          ? `the copy read back from ${dirname(to)} differs from the original: that disk, its cable or the memory is faulty`
          : "it was changed while it was copied",
      );
    if (!rename(ops, part, to)) throw new Error(`${part} and ${to} lie on different disks`);
  } catch (error) {
    removePart(ops, part);
    throw error;
  }
}

/**
 * Whether two paths are one and the same name, as when a folder has been replaced by a link to the other, or where capital
 * letters do not count. Removing one of them would then remove the only one.
 */
export function sameName(ops: FileOps, a: string, b: string): boolean {
  const [one, other] = [ops.look(a), ops.look(b)];
  if (one === null || other === null || !sameFile(one, other)) return false;
  return one.names < 2 || join(ops.realPath(dirname(a)), basename(a)) === join(ops.realPath(dirname(b)), basename(b));
}

/** Removes an unfinished copy, if there is one. */
export function removePart(ops: FileOps, part: string): void {
  try {
    if (ops.look(part) !== null) ops.remove(part);
  } catch {
    // The next resume or undo tries again.
  }
}

/** Whether two things hold the same bytes; sizes are compared before anything is read. */
export function sameContent(ops: FileOps, path: string, facts: FileFacts, sha256: string, sizeBytes: number): boolean {
  return facts.kind === "file" && facts.sizeBytes === sizeBytes && ops.sha256(path) === sha256;
}
