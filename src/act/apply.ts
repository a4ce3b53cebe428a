import { mkdirSync } from "node:fs";
import { join, resolve } from "node:path";
import { CallError, CannotError } from "../terms/errors.js";
import { type ApplyRequest, nearestFolder, neededBytes, planSteps } from "./apply-plan.js";
import { doStep } from "./apply-step.js";
import { codeOf, disk, type FileOps } from "./file-ops.js";
import { type How, type Journal, JournalError, newJournal, openJournal, parseJournal, replay } from "./journal.js";
import { takeLock } from "./lock.js";
import { readNight, type StoredNight } from "./night-files.js";
import { Unfinished } from "./place-file.js";
import { megabytes } from "./sizes.js";

/** What a run needs besides what to do. */
export interface Run {
  /** Now, ISO 8601. */
  readonly atUtc: string;
  readonly onProgress?: (done: number, total: number) => void;
  /** Stops between two subs; the journal can be resumed. */
  readonly signal?: AbortSignal;
  readonly ops?: FileOps;
}

export interface Applied {
  /** Where the journal is; null: there was nothing to do. */
  readonly journal: string | null;
  readonly how: How;
  readonly dest: string;
  /** Subs that are at their new place, earlier parts of an interrupted run included. */
  readonly done: number;
  /** Subs whose content was there already. */
  readonly alreadyThere: number;
  /** True when an interrupted run was finished. */
  readonly resumed: boolean;
  /** Why it stopped before the end; null: it did not. */
  readonly stopped: string | null;
  readonly notes: readonly string[];
  /** Subs that were not touched, with the reason. */
  readonly attention: readonly string[];
}

/** The folder of the journals in a triage output folder. */
export const journalsFolder = "journals";

/**
 * Copies, moves or links the subs of a triage output folder by their verdicts. A journal is written first, so that the
 * run can be resumed or taken back at any point. An interrupted run with the same DEST is resumed. Content is never
 * altered, a file that is there is never replaced, every sub is verified by the SHA-256 of all its bytes.
 * @param folder - that triage wrote
 * @throws CallError, CannotError before anything is done
 * @example
 * ```ts
 * import { applyVerdicts } from "nightyield";
 * const request = { how: "copy", dest: "stack", drops: false, flat: true } as const;
 * const { done, journal } = await applyVerdicts("nightyield-out/march14", request, { atUtc: new Date().toISOString() });
 * console.log(done, "subs were copied; the journal is", journal !== null);
 * ```
 */
export async function applyVerdicts(folder: string, request: ApplyRequest, run: Run): Promise<Applied> {
  const { ops = disk, atUtc } = run;
  const night = readNight(resolve(folder), ops);
  const journals = join(night.folder, journalsFolder);
  makeJournals(journals);
  const release = takeLock(join(journals, ".lock"), 0, ops);
  try {
    const dest = resolve(request.dest);
    const open = interrupted(journals, dest, ops);
    if (open !== null) {
      const { head } = open;
      if (head.how !== request.how)
        throw new CannotError(
          `An interrupted run to ${dest} is to ${head.how} the subs. Finish it with --${head.how}-to or take it back: nightyield undo ${open.path}`,
        );
      const applied = await carryOut(open, true, run);
      return { ...applied, notes: [...applied.notes, ...differenceNote(night, open, request)] };
    }
    const { steps, left } = planSteps(ops, night, {
      ...request,
      dest,
      whereabouts: whereaboutsFrom(journals, ops),
    });
    checkSpace(ops, request.how, dest, steps);
    if (steps.length === 0) return nothing(request.how, dest, left);
    const stamp = atUtc.replace(/\.\d+/, "").replaceAll(":", "");
    const path = freePath(ops, journals, `${stamp}-${request.how}`);
    const id = idOf(atUtc);
    const journal = newJournal(path, { id, how: request.how, dest, night: night.folder, atUtc }, steps, ops);
    const applied = await carryOut(journal, false, run);
    return { ...applied, attention: [...left, ...applied.attention] };
  } finally {
    release();
  }
}

/**
 * Finishes an interrupted run.
 * @throws CallError when there is nothing to finish, CannotError when the journal cannot be used
 * @example
 * ```ts
 * import { applyVerdicts, resumeApply } from "nightyield";
 * const request = { how: "copy", dest: "stack", drops: false, flat: true } as const;
 * const run = { atUtc: new Date().toISOString() };
 * const { stopped, journal } = await applyVerdicts("nightyield-out/march14", request, run);
 * if (stopped !== null && journal !== null) await resumeApply(journal, run); // the disk was full, say
 * console.log(stopped);
 * ```
 */
export async function resumeApply(path: string, run: Run): Promise<Applied> {
  const { ops = disk } = run;
  const release = takeLock(join(resolve(path), "..", ".lock"), 0, ops);
  try {
    const journal = openJournal(resolve(path), ops);
    const { state } = replay(journal.entries);
    if (state !== "applying")
      throw new CallError(
        state === "applied"
          ? `${path} is of a run that came to its end; there is nothing to resume`
          : `${path} is of a run that was taken back. Finish that with nightyield undo, or apply anew`,
      );
    return await carryOut(journal, true, run);
  } finally {
    release();
  }
}

/** Does what is left of a journal's steps. */
async function carryOut(journal: Journal, resumed: boolean, run: Run): Promise<Applied> {
  const { ops = disk, onProgress, signal } = run;
  const { head, steps } = journal;
  const before = replay(journal.entries);
  const rest = steps.filter(({ step }) => !before.done.has(step) && !before.skipped.has(step));
  if (resumed) checkSpace(ops, head.how, head.dest, rest);
  const attention: string[] = [...before.skipped].flatMap(([step, because]) =>
    because === alreadyThere ? [] : [`${steps[step]!.file}: ${because}`],
  );
  const counted = [...before.skipped.values()].filter((because) => because === alreadyThere).length;
  const result = { done: before.done.size, alreadyThere: counted, symbolic: 0 };
  let stopped: string | null = null;
  const renamed: string[] = [];
  for (const [n, step] of rest.entries()) {
    // Lets signals through between subs.
    await new Promise((done) => setImmediate(done));
    if (signal?.aborted) {
      stopped = "stopped on request";
      break;
    }
    try {
      const outcome = doStep(ops, journal, step, before.begun.get(step.step));
      if (outcome.kind === "done") {
        journal.add({ done: step.step, as: outcome.as }, "unsynced");
        result.done++;
        if (outcome.as === "symbolic link" && head.how === "link") result.symbolic++;
        if (outcome.to !== step.to) renamed.push(`${step.file} is ${outcome.to}: its own name was taken`);
      } else {
        const because = outcome.kind === "left" ? outcome.because : alreadyThere;
        journal.add({ skipped: step.step, because }, "unsynced");
        if (outcome.kind === "left") attention.push(`${step.file}: ${because}`);
        else result.alreadyThere++;
      }
    } catch (error) {
      stopped = reasonToStop(ops, head.how, head.dest, steps.slice(step.step), error);
      if (stopped !== null) break;
      const because = (error as Error).message;
      attention.push(`${step.file}: ${because}`);
      try {
        journal.add({ skipped: step.step, because }, "unsynced");
      } catch (second) {
        stopped = (second as Error).message;
        break;
      }
    }
    onProgress?.(steps.length - rest.length + n + 1, steps.length);
  }
  if (stopped === null) {
    try {
      journal.add({ end: "complete" }, "synced");
    } catch (error) {
      stopped = (error as Error).message;
    }
  }
  const notes = renamed.slice(0, 5);
  if (renamed.length > notes.length)
    notes.push(`${renamed.length - notes.length} more have new names; see the journal`);
  if (result.symbolic > 0)
    notes.push(
      `${result.symbolic} are symbolic links, because ${head.dest} is on another disk or takes no hard links: they lead nowhere when the subs are moved`,
    );
  const { done } = result;
  return {
    journal: journal.path,
    how: head.how,
    dest: head.dest,
    done,
    alreadyThere: result.alreadyThere,
    resumed,
    stopped,
    notes,
    attention,
  };
}

const alreadyThere = "the same content is there already";

/** Errors that the next sub would meet as well. Null: only this one is concerned. */
function reasonToStop(
  ops: FileOps,
  how: How,
  dest: string,
  rest: Parameters<typeof neededBytes>[3],
  error: unknown,
): string | null {
  if (error instanceof JournalError) return error.message;
  if (error instanceof Unfinished) return error.message;
  switch (codeOf(error)) {
    case "ENOSPC":
    case "EDQUOT": {
      let missing = "";
      try {
        const needed = neededBytes(ops, how, dest, rest);
        const free = ops.freeBytes(nearestFolder(ops, dest));
        missing =
          free === null || needed <= free
            ? `the ${rest.length} subs left need ${megabytes(needed)}`
            : `the ${rest.length} subs left need ${megabytes(needed)}, ${megabytes(free)} are free, ${megabytes(needed - free)} are missing`;
      } catch {
        missing = "how much is missing cannot be told";
      }
      return `${dest} is full: ${missing}`;
    }
    case "EROFS":
      return `${dest} or the folder of the subs has become write-protected`;
    case "EMFILE":
    case "ENOTCONN":
    case "ESTALE":
    case "ENODEV":
    case "ENXIO":
      return (error as Error).message;
    default:
      if (codeOf(error) === "" && error instanceof TypeError) throw error; // a fault of the program, not of the disk
      return null;
  }
}

/** @throws CannotError when the disk of DEST has not enough room */
function checkSpace(ops: FileOps, how: How, dest: string, steps: Parameters<typeof neededBytes>[3]): void {
  const needed = neededBytes(ops, how, dest, steps);
  const free = needed > 0 ? ops.freeBytes(nearestFolder(ops, dest)) : null;
  if (free !== null && needed > free)
    throw new CannotError(
      `${dest} has ${megabytes(free)} free, the subs need ${megabytes(needed)}: ${megabytes(needed - free)} are missing. Make room or choose another DEST; nothing was done`,
    );
}

/** The journal of an interrupted run to the same place. */
function interrupted(journals: string, dest: string, ops: FileOps): Journal | null {
  for (const name of ops.list(journals).sort().reverse()) {
    if (!name.endsWith(".jsonl")) continue;
    const path = join(journals, name);
    const { head, entries } = parseJournal(ops.readText(path), path);
    if (head.dest !== dest) continue;
    const { state } = replay(entries);
    if (state === "undoing")
      throw new CannotError(
        `Taking back an earlier run to ${dest} was interrupted. Finish it: nightyield undo ${path}`,
      );
    if (state === "applying") return openJournal(path, ops);
  }
  return null;
}

/** Where earlier moves took subs; the journals are read when the first one is missed. */
function whereaboutsFrom(journals: string, ops: FileOps): (path: string) => string | null {
  let moved: Map<string, string> | null = null;
  return (path) => {
    if (moved === null) {
      moved = new Map();
      for (const name of ops.list(journals).sort()) {
        if (!name.endsWith(".jsonl")) continue;
        const { head, steps, entries } = parseJournal(ops.readText(join(journals, name)), name);
        const { begun, done, undone } = replay(entries);
        if (head.how !== "move") continue;
        for (const { step, from } of steps)
          if (done.has(step) && !undone.has(step))
            moved.set(from, `it was moved to ${begun.get(step)!.to} (journal ${join(journals, name)})`);
      }
    }
    return moved.get(path) ?? null;
  };
}

/** An interrupted run keeps its plan; the verdicts may have changed since. */
function differenceNote(night: StoredNight, journal: Journal, request: ApplyRequest): string[] {
  const planned = new Set(journal.steps.map(({ file }) => file));
  const wanted = night.table.file.filter((_, row) => {
    const verdict = night.table.verdict[row];
    return verdict === "keep" || verdict === "borderline" || (request.drops === true && verdict === "drop");
  });
  const same = wanted.length === planned.size && wanted.every((file) => planned.has(file));
  return same
    ? []
    : ["this finished the plan of the interrupted run; verdicts or files differ since: run it once more for the rest"];
}

function makeJournals(journals: string): void {
  try {
    mkdirSync(journals, { recursive: true });
  } catch (cause) {
    throw new CannotError(
      `Cannot make ${journals}: ${(cause as Error).message}. The journal lies there; make the triage output writable`,
      { cause },
    );
  }
}

function freePath(ops: FileOps, folder: string, name: string): string {
  for (let n = 1; ; n++) {
    const path = join(folder, `${name}${n === 1 ? "" : `-${n}`}.jsonl`);
    if (ops.look(path) === null) return path;
  }
}

/** Short, and another one for every run of this process and time. */
const idOf = (atUtc: string) => `${Date.parse(atUtc).toString(36)}${process.pid.toString(36)}`;

const nothing = (how: How, dest: string, attention: readonly string[]): Applied => ({
  journal: null,
  how,
  dest,
  done: 0,
  alreadyThere: 0,
  resumed: false,
  stopped: null,
  notes: [],
  attention,
});
