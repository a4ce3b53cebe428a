import { CannotError } from "../terms/errors.js";
import { codeOf, disk, type FileOps } from "./file-ops.js";

/** What is done with the subs. */
export type How = "copy" | "move" | "link";

/** First line of a journal. */
export interface JournalHead {
  readonly journal: "nightyield";
  readonly version: 1;
  /** Part of the names of unfinished files. */
  readonly id: string;
  readonly how: How;
  /** Absolute; where the subs go. */
  readonly dest: string;
  /** The triage output folder. */
  readonly night: string;
  /** When it was planned, ISO 8601. */
  readonly atUtc: string;
  /** Number of planned steps; their lines follow. */
  readonly steps: number;
}

/** One sub to act on. */
export interface Step {
  readonly step: number;
  /** As named in the frame table. */
  readonly file: string;
  readonly from: string;
  /** The first choice; another name is chosen when it is taken. */
  readonly to: string;
  readonly sizeBytes: number;
  /** Time of the last change, nanoseconds since 1970. */
  readonly mtimeNs: string;
  /** Where `from` is a symbolic link: its text and its own time. */
  readonly symlink?: { readonly text: string; readonly mtimeNs: string };
}

/** Written, and synced, before a sub is touched: whatever happens next can be finished or taken back. */
export interface Begin {
  readonly begin: number;
  readonly to: string;
  /** The unfinished copy; beside `to`. */
  readonly part: string;
  /** SHA-256 of all bytes of the sub. */
  readonly sha256: string;
  /** Text of the symbolic link that is made; absent: a file. */
  readonly symlinkTo?: string;
}

/** Lines after the plan, in the order in which they are written. */
export type Entry =
  | { readonly folder: string }
  | Begin
  | { readonly done: number; readonly as: DoneAs }
  | { readonly skipped: number; readonly because: string }
  | { readonly end: "complete" }
  | { readonly undo: "begun" }
  /** The copy of a file on its way back to `from`. */
  | { readonly undoing: number; readonly part: string }
  | { readonly undone: number }
  | { readonly left: number; readonly because: string }
  | { readonly undo: "ended"; readonly leftBehind: number };

/** How a step was done in the end. */
export type DoneAs = "copy" | "same disk" | "hard link" | "symbolic link" | "finished later";

/** How far a journal has come. */
export interface Progress {
  readonly begun: ReadonlyMap<number, Begin>;
  readonly done: ReadonlyMap<number, DoneAs>;
  readonly skipped: ReadonlyMap<number, string>;
  readonly undone: ReadonlySet<number>;
  /** Unfinished copies on their way back. */
  readonly backParts: ReadonlyMap<number, string>;
  /** Folders that were made, outer ones first. */
  readonly folders: readonly string[];
  readonly state: "applying" | "applied" | "undoing" | "undone" | "undone in part";
}

/** A journal that is open for more lines. */
export interface Journal {
  readonly path: string;
  readonly head: JournalHead;
  readonly steps: readonly Step[];
  readonly entries: readonly Entry[];
  /** Adds a line. `synced`: it is on the disk before this returns. */
  add(entry: Entry, synced: "synced" | "unsynced"): void;
}

/** Replays the lines of a journal. */
export function replay(entries: readonly Entry[]): Progress {
  const begun = new Map<number, Begin>();
  const done = new Map<number, DoneAs>();
  const skipped = new Map<number, string>();
  const undone = new Set<number>();
  const backParts = new Map<number, string>();
  const folders: string[] = [];
  let state: Progress["state"] = "applying";
  for (const entry of entries) {
    if ("folder" in entry) folders.push(entry.folder);
    else if ("begin" in entry) begun.set(entry.begin, entry);
    else if ("done" in entry) done.set(entry.done, entry.as);
    else if ("skipped" in entry) skipped.set(entry.skipped, entry.because);
    else if ("undoing" in entry) backParts.set(entry.undoing, entry.part);
    else if ("undone" in entry) undone.add(entry.undone);
    else if ("end" in entry) state = "applied";
    else if ("undo" in entry)
      state = entry.undo === "begun" ? "undoing" : entry.leftBehind === 0 ? "undone" : "undone in part";
  }
  return { begun, done, skipped, undone, backParts, folders, state };
}

/**
 * Writes a journal with its whole plan, synced, before anything else is touched.
 * @throws CannotError when it cannot be written
 */
export function newJournal(
  path: string,
  head: Omit<JournalHead, "journal" | "version" | "steps">,
  steps: readonly Step[],
  ops: FileOps,
): Journal {
  const full: JournalHead = { journal: "nightyield", version: 1, ...head, steps: steps.length };
  const text = `${[full, ...steps].map((line) => JSON.stringify(line)).join("\n")}\n`;
  const beside = `${path}.part`;
  try {
    if (ops.look(beside) !== null) ops.remove(beside);
    ops.writeNew(beside, text);
    ops.rename(beside, path);
  } catch (cause) {
    throw new CannotError(
      `Cannot write the journal ${path}: ${(cause as Error).message}. Nothing was done; make room there or make the folder writable`,
      { cause },
    );
  }
  return opened(path, full, steps, [], ops);
}

/**
 * Opens a journal again. A last line that was cut by a power failure or a kill is taken off.
 * @throws CannotError when it is no journal or damaged
 */
export function openJournal(path: string, ops: FileOps = disk): Journal {
  let text: string;
  try {
    text = ops.readText(path);
  } catch (cause) {
    const folder = codeOf(cause) === "EISDIR" ? ". Give the journal itself, a file that ends in .jsonl" : "";
    throw new CannotError(`Cannot read the journal ${path}: ${(cause as Error).message}${folder}`, { cause });
  }
  const { head, steps, entries, lengthBytes } = parseJournal(text, path);
  if (lengthBytes < Buffer.byteLength(text)) ops.truncate(path, lengthBytes);
  return opened(path, head, steps, entries, ops);
}

/**
 * Reads a journal's text.
 * @returns with the length of the part that is whole
 * @throws CannotError when it is no journal or damaged before its last line
 */
export function parseJournal(
  text: string,
  path: string,
): { head: JournalHead; steps: Step[]; entries: Entry[]; lengthBytes: number } {
  const whole = text.slice(0, text.lastIndexOf("\n") + 1);
  const lines = whole.split("\n").slice(0, -1);
  const parsed = lines.map((line, n): unknown => {
    try {
      return JSON.parse(line);
    } catch (cause) {
      throw new CannotError(
        `Cannot read the journal ${path}, line ${n + 1}: it is damaged. The subs are as the lines before say: from, to, and their SHA-256`,
        { cause },
      );
    }
  });
  const head = parsed[0] as JournalHead | undefined;
  if (head?.journal !== "nightyield" || head.version !== 1 || parsed.length < 1 + head.steps)
    throw new CannotError(
      `${path} is not a journal of nightyield apply. Journals lie in the folder journals of the triage output`,
    );
  return {
    head,
    steps: parsed.slice(1, 1 + head.steps) as Step[],
    entries: parsed.slice(1 + head.steps) as Entry[],
    lengthBytes: Buffer.byteLength(whole),
  };
}

function opened(path: string, head: JournalHead, steps: readonly Step[], old: readonly Entry[], ops: FileOps): Journal {
  const entries = [...old];
  return {
    path,
    head,
    steps,
    entries,
    add(entry, synced) {
      const line = `${JSON.stringify(entry)}\n`;
      try {
        ops.append(path, line, synced);
      } catch (cause) {
        throw new JournalError(path, cause); // half a line, if any, is taken off at the next opening
      }
      entries.push(entry);
    },
  };
}

/** The journal cannot be written on: nothing more may be done. */
export class JournalError extends Error {
  override readonly name = "JournalError";

  constructor(path: string, cause: unknown) {
    super(`the journal ${path} cannot be written: ${(cause as Error).message}`, { cause });
  }
}
