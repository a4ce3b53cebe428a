import { basename, dirname, join, resolve } from "node:path";
import { CannotError } from "../terms/errors.js";
import type { Run } from "./apply.js";
import { isOurs } from "./apply-step.js";
import { codeOf, disk, type FileFacts, type FileOps, sameFile } from "./file-ops.js";
import { type Begin, type Journal, JournalError, openJournal, type Progress, replay, type Step } from "./journal.js";
import { takeLock } from "./lock.js";
import {
  copyVerified,
  NameTaken,
  removePart,
  removeSource,
  rename,
  sameContent,
  sameName,
  Unfinished,
} from "./place-file.js";

export interface Undone {
  /** Subs that are as they were, or copies and links that are gone. */
  readonly undone: number;
  /** Why it stopped before the end; null: it did not. */
  readonly stopped: string | null;
  /** Subs that were left as they are, with the reason. */
  readonly attention: readonly string[];
  /** True when an earlier undo had done it all. */
  readonly nothingToDo: boolean;
}

/**
 * Takes a run of {@link applyVerdicts} back, last sub first: moved subs go back to their names with their times, copies
 * and links are removed, folders that were made go when they are empty. Nothing is removed unless the same content
 * stands at the original place, and nothing is replaced. An interrupted undo is finished by calling it again.
 * @throws CannotError when the journal cannot be used
 * @example
 * ```ts
 * import { applyVerdicts, undoApply } from "nightyield";
 * const request = { how: "copy", dest: "elsewhere", drops: false, flat: true } as const;
 * const { journal } = await applyVerdicts("nightyield-out/march14", request, { atUtc: new Date().toISOString() });
 * if (journal !== null) console.log((await undoApply(journal, {})).undone, "subs were taken back");
 * ```
 */
export async function undoApply(path: string, run: Omit<Run, "atUtc">): Promise<Undone> {
  const { ops = disk, onProgress, signal } = run;
  const release = takeLock(join(dirname(resolve(path)), ".lock"), 0, ops);
  try {
    const journal = openJournal(resolve(path), ops);
    const before = replay(journal.entries);
    if (before.state === "undone") return { undone: 0, stopped: null, attention: [], nothingToDo: true };
    const steps = journal.steps
      .filter(({ step }) => before.begun.has(step) && !before.undone.has(step))
      .sort((a, b) => b.step - a.step);
    const attention: string[] = [];
    let undone = 0;
    let stopped: string | null = null;
    add(journal, { undo: "begun" });
    for (const [n, step] of steps.entries()) {
      await new Promise((done) => setImmediate(done));
      if (signal?.aborted) stopped = "stopped on request";
      if (stopped !== null) break;
      const outcome = tried(() => undoStep(ops, journal, step, before));
      if (outcome.stop) stopped = outcome.because;
      else if (outcome.because === null) undone++;
      else attention.push(`${step.file}: ${outcome.because}`);
      onProgress?.(n + 1, steps.length);
    }
    if (stopped === null) {
      removeFolders(ops, before.folders);
      stopped = tried(() => {
        journal.add({ undo: "ended", leftBehind: attention.length }, "synced");
        return null;
      }).because;
    }
    return { undone, stopped, attention, nothingToDo: false };
  } finally {
    release();
  }
}

/** Undoes one step and notes it; gives the reason when it is left as it is. */
function undoStep(ops: FileOps, journal: Journal, step: Step, { begun, backParts }: Progress): string | null {
  const begin = begun.get(step.step)!;
  removePart(ops, begin.part);
  const backPart = backParts.get(step.step);
  if (backPart !== undefined) removePart(ops, backPart);
  const there = ops.look(begin.to);
  const because = there === null ? null : takeBack[journal.head.how](ops, journal, step, begin, there);
  journal.add(because === null ? { undone: step.step } : { left: step.step, because }, "unsynced");
  return because;
}

const takeBack = { copy: removeCopy, link: removeLink, move: moveBack } as const;

function removeCopy(ops: FileOps, _journal: Journal, step: Step, begin: Begin, there: FileFacts): string | null {
  if (!isOurs(ops, step, begin, there)) return changedSince(begin.to);
  const original = ops.lookThrough(step.from);
  if (original === null || !sameContent(ops, step.from, original, begin.sha256, step.sizeBytes))
    return `${step.from} no longer holds it, so the copy ${begin.to} is kept`;
  if (sameFile(original, there)) return `${begin.to} and ${step.from} are one file now, so it is kept`;
  ops.remove(begin.to);
  return null;
}

function removeLink(ops: FileOps, _journal: Journal, step: Step, begin: Begin, there: FileFacts): string | null {
  const { to, symlinkTo } = begin;
  if (there.kind === "symlink") {
    if (symlinkTo === undefined || ops.readLink(to) !== symlinkTo) return changedSince(to);
    ops.remove(to);
    return null;
  }
  const original = ops.lookThrough(step.from);
  if (original === null) return `${step.from} is gone, so its last name ${to} is kept`;
  if (!sameFile(original, there)) return changedSince(to);
  if (ops.realPath(step.from) === to) return `${step.from} leads to ${to} now, so it is kept`;
  ops.remove(to);
  return null;
}

function moveBack(ops: FileOps, journal: Journal, step: Step, begin: Begin, there: FileFacts): string | null {
  const { to, sha256, symlinkTo } = begin;
  const { from, sizeBytes, symlink } = step;
  if (!isOurs(ops, step, begin, there)) return changedSince(to);
  if (sameName(ops, from, to)) return `${from} and ${to} are one name now, so it is left`;
  const at = ops.look(from);
  if (symlinkTo !== undefined && symlink !== undefined) {
    if (at === null) {
      makeWay(ops, dirname(from));
      ops.symlink(symlink.text, from);
    } else if (at.kind !== "symlink" || ops.readLink(from) !== symlink.text) return takenBySomethingElse(from, to);
    ops.setLinkTime(from, BigInt(symlink.mtimeNs));
    removeSource(ops, to, from, () => {});
    return null;
  }
  if (at !== null) {
    // Both names: the move, or an earlier undo, stopped in between.
    if (!sameFile(at, there) && !sameContent(ops, from, at, sha256, sizeBytes)) return takenBySomethingElse(from, to);
    ops.syncFolder(dirname(from));
    ops.remove(to);
    return null;
  }
  makeWay(ops, dirname(from));
  try {
    if (rename(ops, to, from)) return null;
    const part = join(dirname(from), `.nightyield-${journal.head.id}-${step.step}.back.part`);
    journal.add({ undoing: step.step, part }, "synced");
    copyVerified(ops, { from: to, part, to: from, sha256, mtimeNs: BigInt(step.mtimeNs) });
  } catch (error) {
    if (error instanceof NameTaken) return takenBySomethingElse(from, to);
    throw error;
  }
  removeSource(ops, to, from, () => {});
  return null;
}

/** Folders of the subs may have been removed since, as they were empty. */
function makeWay(ops: FileOps, folder: string): void {
  if (ops.lookThrough(folder) !== null) return;
  if (dirname(folder) !== folder) makeWay(ops, dirname(folder));
  ops.makeFolder(folder);
}

/** Removes the folders that were made, inner ones first; what is not empty stays. */
function removeFolders(ops: FileOps, folders: readonly string[]): void {
  for (const folder of [...new Set(folders)].reverse()) {
    try {
      if (ops.list(folder).length === 0) ops.removeFolder(folder);
    } catch {
      // Gone already, or taken into use meanwhile: both are well.
    }
  }
}

/** Errors that every step would meet stop the undo; others concern one sub. */
function tried(work: () => string | null): { because: string | null; stop: boolean } {
  try {
    return { because: work(), stop: false };
  } catch (error) {
    if (codeOf(error) === "" && error instanceof TypeError) throw error;
    const everywhere = ["ENOSPC", "EDQUOT", "EROFS", "EMFILE", "ENOTCONN", "ESTALE", "ENODEV", "ENXIO"];
    const stop = error instanceof JournalError || error instanceof Unfinished || everywhere.includes(codeOf(error));
    return { because: (error as Error).message, stop };
  }
}

function add(journal: Journal, entry: Parameters<Journal["add"]>[0]): void {
  try {
    journal.add(entry, "synced");
  } catch (cause) {
    throw new CannotError(`Cannot undo: ${(cause as Error).message}. Make room or make it writable`, { cause });
  }
}

const changedSince = (to: string) => `${basename(to)} was changed after it came to ${dirname(to)}; it is left there`;
const takenBySomethingElse = (from: string, to: string) =>
  `${from} is something else now; the sub stays at ${to}. Move the other file away and undo again`;
