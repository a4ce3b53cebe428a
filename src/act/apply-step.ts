import { basename, dirname, join, resolve } from "node:path";
import { cannotLink, codeOf, type FileFacts, type FileOps, sameFile } from "./file-ops.js";
import type { Begin, DoneAs, Journal, Step } from "./journal.js";
import { nthName } from "./new-name.js";
import {
  copyVerified,
  NameTaken,
  NotTheSame,
  removePart,
  removeSource,
  rename,
  sameContent,
  sameName,
} from "./place-file.js";

/** What became of one step. */
export type Outcome =
  | { readonly kind: "done"; readonly as: DoneAs; readonly to: string }
  /** Nothing to do: the same content was there already. */
  | { readonly kind: "already there"; readonly to: string }
  /** Not touched, and why. */
  | { readonly kind: "left"; readonly because: string };

const mostNames = 10_000;

/**
 * Does one step, or finishes one that was interrupted. Every state that a crash can leave is told from the disk and from
 * the step's `begin` line: the sub is at `from`, at `to`, or at both with the same content.
 * @param begun - the step's last `begin` line, when there is one without `done`
 * @throws whatever the disk answers; the sub is then where it was, unless an Unfinished error says otherwise
 */
export function doStep(ops: FileOps, journal: Journal, step: Step, begun: Begin | undefined): Outcome {
  const finished = begun === undefined ? null : finish(ops, journal, step, begun);
  if (finished !== null) return finished;
  const source = sourceOf(ops, step);
  if (typeof source === "string") return { kind: "left", because: source };
  const sha256 = ops.sha256(step.from);
  const { how } = journal.head;
  const link = how === "move" && step.symlink ? resolve(dirname(step.from), step.symlink.text) : undefined;
  for (let n = 1; n <= mostNames; n++) {
    const to = join(dirname(step.to), nthName(basename(step.to), n));
    const there = ops.look(to);
    if (there !== null) {
      if (holds(ops, to, there, source, sha256)) return { kind: "already there", to };
      continue;
    }
    makeFolders(ops, journal, dirname(to));
    const part = join(dirname(to), `.nightyield-${journal.head.id}-${step.step}.part`);
    const begin: Begin = { begin: step.step, to, part, sha256, ...(link !== undefined && { symlinkTo: link }) };
    journal.add(begin, "synced");
    try {
      return { kind: "done", as: act[how](ops, journal, step, begin), to };
    } catch (error) {
      if (!(error instanceof NameTaken)) throw error;
    }
  }
  throw new Error(`${mostNames} names like ${step.to} are taken`);
}

/** How a step is done whose name is free. */
const act = { copy, move, link } as const;

function copy(ops: FileOps, _journal: Journal, step: Step, { part, to, sha256 }: Begin): DoneAs {
  copyVerified(ops, { from: step.from, part, to, sha256, mtimeNs: BigInt(step.mtimeNs) });
  return "copy";
}

function move(ops: FileOps, _journal: Journal, step: Step, begin: Begin): DoneAs {
  const { to, part, sha256, symlinkTo } = begin;
  const { from } = step;
  if (symlinkTo !== undefined) {
    // The link moves, not the file that it leads to; as an absolute one it leads there from anywhere.
    makeSymlink(ops, symlinkTo, to);
    removeSource(ops, from, to, () => {
      if (ops.readLink(to) !== symlinkTo) throw new NotTheSame(`${to} leads somewhere else`);
    });
    return "symbolic link";
  }
  if (rename(ops, from, to)) return "same disk";
  copyVerified(ops, { from, part, to, sha256, mtimeNs: BigInt(step.mtimeNs) });
  removeSource(ops, from, to, () => {
    const facts = ops.look(from);
    if (facts?.sizeBytes !== step.sizeBytes || facts.mtimeNs !== BigInt(step.mtimeNs))
      throw new NotTheSame("it was changed while it was copied");
  });
  return "copy";
}

function link(ops: FileOps, journal: Journal, step: Step, begin: Begin): DoneAs {
  const real = ops.realPath(step.from);
  try {
    ops.link(real, begin.to);
    return "hard link";
  } catch (error) {
    const code = codeOf(error);
    if (code === "EEXIST") throw new NameTaken(begin.to, { cause: error });
    if (code !== "EXDEV" && !cannotLink(code)) throw error;
  }
  journal.add({ ...begin, symlinkTo: real }, "synced");
  makeSymlink(ops, real, begin.to);
  return "symbolic link";
}

function makeSymlink(ops: FileOps, target: string, to: string): void {
  try {
    ops.symlink(target, to);
  } catch (error) {
    if (codeOf(error) === "EEXIST") throw new NameTaken(to, { cause: error });
    if (codeOf(error) === "EPERM")
      throw new Error(`${dirname(to)} takes neither hard nor symbolic links; use --copy-to`, { cause: error });
    throw error;
  }
}

/** Finishes a step that was begun, as far as its traces show; null: there are none, so it is done anew. */
function finish(ops: FileOps, journal: Journal, step: Step, begin: Begin): Outcome | null {
  const { to, part, sha256, symlinkTo } = begin;
  const { how } = journal.head;
  const there = ops.look(to);
  if (there !== null && isOurs(ops, step, begin, there)) {
    removePart(ops, part);
    const as = "finished later";
    const source = ops.look(step.from);
    if (how === "move" && sameName(ops, step.from, to)) return { kind: "already there", to };
    if (how !== "move" || source === null) return { kind: "done", as, to };
    const same = symlinkTo !== undefined ? source.kind === "symlink" : holdsFile(ops, step.from, source, there, sha256);
    if (!same)
      return {
        kind: "left",
        because: `${step.from} was changed while it was moved; its earlier content is ${to}`,
      };
    removeSource(ops, step.from, to, () => {});
    return { kind: "done", as, to };
  }
  removePart(ops, part);
  return null;
}

/** Whether what stands at `to` is what the step put there. */
export function isOurs(ops: FileOps, step: Step, { to, sha256, symlinkTo }: Begin, there: FileFacts): boolean {
  if (symlinkTo !== undefined && there.kind === "symlink") return ops.readLink(to) === symlinkTo;
  return sameContent(ops, to, there, sha256, step.sizeBytes);
}

const holdsFile = (ops: FileOps, path: string, facts: FileFacts, other: FileFacts, sha256: string) =>
  sameFile(facts, other) || sameContent(ops, path, facts, sha256, other.sizeBytes);

/** Whether the sub is at a name already: as the same file, a link to it, or the same bytes. */
function holds(ops: FileOps, to: string, there: FileFacts, source: FileFacts, sha256: string): boolean {
  const behind = there.kind === "symlink" ? ops.lookThrough(to) : there;
  return behind !== null && (sameFile(behind, source) || sameContent(ops, to, behind, sha256, source.sizeBytes));
}

/** The sub as it was planned, or why it cannot be used. */
function sourceOf(ops: FileOps, step: Step): FileFacts | string {
  const itself = ops.look(step.from);
  if (itself === null) return "it is no longer there";
  const facts = itself.kind === "symlink" ? ops.lookThrough(step.from) : itself;
  if (facts === null) return "its symbolic link leads nowhere";
  if (facts.sizeBytes !== step.sizeBytes || facts.mtimeNs !== BigInt(step.mtimeNs) || facts.kind !== "file")
    return "it was changed since this run was planned";
  if ((itself.kind === "symlink") !== (step.symlink !== undefined)) return "it was replaced since this run was planned";
  return facts;
}

/** Makes the folders that lead to a file; each is in the journal before it is made. */
function makeFolders(ops: FileOps, journal: Journal, folder: string): void {
  const there = ops.lookThrough(folder);
  if (there?.kind === "folder") return;
  if (there !== null) throw new Error(`${folder} is a file, where a folder is needed`);
  const above = dirname(folder);
  if (above !== folder) makeFolders(ops, journal, above);
  journal.add({ folder }, "synced");
  try {
    ops.makeFolder(folder);
  } catch (error) {
    if (codeOf(error) !== "EEXIST") throw error;
  }
  ops.syncFolder(above);
}
