import { basename, dirname, isAbsolute, join, relative, resolve, sep } from "node:path";
import { contentKey } from "../measure/content-key.js";
import { openFile } from "../read/file-bytes.js";
import { CallError, CannotError } from "../terms/errors.js";
import type { FileFacts, FileOps } from "./file-ops.js";
import type { How, Step } from "./journal.js";
import { kept } from "./lists.js";
import { modifiedMsOf, type NightFile, type StoredNight } from "./night-files.js";

/** What to do with the subs of a triage output folder. */
export interface ApplyRequest {
  readonly how: How;
  readonly dest: string;
  /** Also the dropped subs: kept ones go to DEST/keep, dropped ones to DEST/drop. */
  readonly drops?: boolean;
  /** All into one folder, without the folders they were in. */
  readonly flat?: boolean;
  /** Where the folder of the subs is now, when it is not where triage found it. */
  readonly subs?: string;
  /** Why a sub is no longer at a path, where earlier journals tell. */
  readonly whereabouts?: (path: string) => string | null;
}

export interface Plan {
  readonly steps: readonly Step[];
  /** Subs that are not touched, with the reason. */
  readonly left: readonly string[];
}

/**
 * Plans the steps and checks everything that can be checked before anything is done.
 * @throws CallError when DEST makes no sense, CannotError when folders may not be written
 */
export function planSteps(ops: FileOps, night: StoredNight, request: ApplyRequest): Plan {
  const { how, drops = false, flat = false } = request;
  const dest = resolve(request.dest);
  checkDest(ops, night, how, dest, request.subs);
  const steps: Step[] = [];
  const left: string[] = [];
  night.files.forEach((file, row) => {
    const verdict = night.table.verdict[row]!;
    if (!(kept(verdict) || (drops && verdict === "drop"))) return;
    const found = findSub(ops, night, file, request);
    if (typeof found === "string") {
      left.push(`${file.file}: ${found}`);
      return;
    }
    const { path, itself, facts } = found;
    const inside = file.file.split("/");
    if (isAbsolute(file.file) || inside.includes("..") || inside.includes("")) {
      left.push(`${file.file}: a name in night.json must lie inside the folder of the subs`);
      return;
    }
    const folder = drops ? join(dest, verdict === "drop" ? "drop" : "keep") : dest;
    steps.push({
      step: steps.length,
      file: file.file,
      from: path,
      to: join(folder, ...(flat ? [basename(path)] : inside)),
      sizeBytes: facts.sizeBytes,
      mtimeNs: String(facts.mtimeNs),
      ...(itself.kind === "symlink" && { symlink: { text: ops.readLink(path), mtimeNs: String(itself.mtimeNs) } }),
    });
  });
  if (how !== "move") return { steps, left };
  checkSources(ops, steps);
  return withoutLinksToMoved(ops, steps, left);
}

function checkDest(ops: FileOps, night: StoredNight, how: How, dest: string, subs: string | undefined): void {
  const there = ops.lookThrough(dest);
  if (there !== null && there.kind !== "folder") throw new CallError(`${dest} is not a folder. Give a folder for DEST`);
  const near = nearestFolder(ops, dest);
  const folders = subs === undefined ? night.folders : [resolve(subs)];
  const around = folders.find(
    (folder) => ops.lookThrough(folder) !== null && isInside(ops.realPath(folder), ops.realPath(near)),
  );
  if (around !== undefined && how !== "move")
    throw new CallError(
      `${dest} lies inside the folder of the subs ${around}: the next triage would count every sub twice. Choose a place outside`,
    );
  try {
    ops.checkWritable(near);
  } catch (cause) {
    throw new CannotError(`${near} cannot be written (${(cause as Error).message}). Choose another DEST`, {
      cause,
    });
  }
}

function isInside(folder: string, path: string): boolean {
  const way = relative(folder, path);
  return way !== ".." && !way.startsWith(`..${sep}`) && !isAbsolute(way);
}

/** The folder itself, or the nearest one above it that exists. */
export function nearestFolder(ops: FileOps, folder: string): string {
  const facts = ops.lookThrough(folder);
  const above = dirname(folder);
  return facts?.kind === "folder" || above === folder ? folder : nearestFolder(ops, above);
}

/** Where a sub is now, or why it is not touched. */
function findSub(
  ops: FileOps,
  night: StoredNight,
  file: NightFile,
  { subs, whereabouts }: ApplyRequest,
): { path: string; itself: FileFacts; facts: FileFacts } | string {
  const places = subs === undefined ? [file.path] : placesBelow(resolve(subs), file.file, night.folders.length > 1);
  for (const path of places) {
    const itself = ops.look(path);
    if (itself === null) continue;
    const facts = itself.kind === "symlink" ? ops.lookThrough(path) : itself;
    if (facts === null) return `${path} is a symbolic link that leads nowhere`;
    if (facts.kind !== "file") return `${path} is no longer a file`;
    return isUnchanged(path, facts, file, subs !== undefined)
      ? { path, itself, facts }
      : "it was changed since the triage; run triage again";
  }
  const told = whereabouts?.(places[0]!) ?? null;
  return told ?? `it is no longer at ${places[0]}; give the folder of the subs with --subs if it is elsewhere now`;
}

/** With several folders, names begin with the folder's own; --subs may be what holds them or the folder itself. */
function placesBelow(folder: string, file: string, several: boolean): string[] {
  const parts = file.split("/");
  const places = [join(folder, ...parts)];
  if (several && parts[0] === basename(folder)) places.push(join(folder, ...parts.slice(1)));
  return places;
}

function isUnchanged(path: string, facts: FileFacts, file: NightFile, elsewhere: boolean): boolean {
  if (facts.sizeBytes !== file.sizeBytes) return false;
  // Times that were set, not given by the system, are rounded.
  if (Math.abs(modifiedMsOf(facts.mtimeNs) - file.modifiedMs) <= 1) return true;
  // Another file system may keep times differently: the content then tells, where triage has left its key.
  if (file.contentKey === undefined) return elsewhere;
  const source = openFile(path, file.file);
  try {
    return contentKey(source).key === file.contentKey;
  } finally {
    source.close();
  }
}

/** A move takes names out of folders; better to know before the first one that it may not. */
function checkSources(ops: FileOps, steps: readonly Step[]): void {
  for (const folder of new Set(steps.map(({ from }) => dirname(from)))) {
    try {
      ops.checkWritable(folder);
    } catch (cause) {
      throw new CannotError(
        `Subs cannot be moved out of ${folder}: it is write-protected (${(cause as Error).message}). Use --copy-to or --link-to. Nothing was done`,
        { cause },
      );
    }
  }
}

/** A symbolic link to a sub that is moved itself would lead nowhere. */
function withoutLinksToMoved(ops: FileOps, steps: readonly Step[], left: readonly string[]): Plan {
  if (steps.every(({ symlink }) => symlink === undefined)) return { steps, left };
  const moved = new Set(steps.filter(({ symlink }) => symlink === undefined).map(({ from }) => ops.realPath(from)));
  const named = [...left];
  const stays = steps.filter((step) => {
    const dangling = step.symlink !== undefined && moved.has(ops.realPath(step.from));
    if (dangling) named.push(`${step.file}: it is a symbolic link to a sub that is moved itself`);
    return !dangling;
  });
  return { steps: stays.map((step, n) => ({ ...step, step: n })), left: named };
}

/**
 * Bytes that the steps need on the disk of DEST. A sub whose name is there with its size is taken for done.
 */
export function neededBytes(ops: FileOps, how: How, dest: string, steps: readonly Step[]): number {
  if (how === "link") return 0;
  const { dev } = ops.lookThrough(nearestFolder(ops, dest))!;
  const blockBytes = 4096;
  let sum = 0;
  for (const { from, to, sizeBytes } of steps) {
    if (how === "move" && ops.look(from)?.dev === dev) continue;
    if (ops.look(to)?.sizeBytes !== sizeBytes) sum += Math.ceil(sizeBytes / blockBytes) * blockBytes;
  }
  return sum;
}
