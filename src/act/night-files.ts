import { mkdirSync } from "node:fs";
import { join, resolve } from "node:path";
import { readEcsv, writeEcsv } from "../terms/ecsv.js";
import { CallError, CannotError } from "../terms/errors.js";
import { type FrameTable, withColumns } from "../terms/frame-table.js";
import { applyDecisions, type Decision, readDecisions } from "./decisions.js";
import { codeOf, disk, type FileOps } from "./file-ops.js";
import { makeLists } from "./lists.js";
import { withLock } from "./lock.js";
import type { SubIdentity } from "./sub-identity.js";
import { writeSynced } from "./write-synced.js";

/** One file of a night as triage found it. */
export interface NightFile extends SubIdentity {
  /** Absolute. */
  readonly path: string;
  readonly sizeBytes: number;
  /** Time of the last change, whole milliseconds since 1970. */
  readonly modifiedMs: number;
  /** Verdict and note as graded, before the user's decisions. */
  readonly verdict: string;
  readonly note: string;
}

/** What a triage output folder knows: the table with the decisions in it, and where the files were. */
export interface StoredNight {
  readonly folder: string;
  /** The folders of subs that were given, absolute. */
  readonly folders: readonly string[];
  readonly files: readonly NightFile[];
  /** Verdicts as graded. */
  readonly graded: FrameTable;
  /** Verdicts with the user's decisions. */
  readonly table: FrameTable;
  readonly decisions: readonly Decision[];
  readonly unmatched: readonly Decision[];
}

/** What triage hands over to be written. */
export interface NightToWrite {
  /** As graded, without the user's decisions. */
  readonly table: FrameTable;
  /** Absolute path of each row's file. */
  readonly paths: readonly string[];
  /** The folders that were given. */
  readonly folders: readonly string[];
  /** Key of each row's content (measure/content-key.ts); empty text where not known. */
  readonly contentKeys?: readonly string[];
}

const nightFile = "night.json";
const patienceMs = 10_000;
const lockOf = (folder: string) => join(folder, ".nightyield.lock");

/**
 * Writes what `mark` and `apply` need, and the lists: night.json (where each file was and how it was graded), frames.ecsv,
 * keep.txt, drop.txt and weights.csv, with the user's earlier decisions (decisions.json) in all of them but night.json.
 * @returns the table with the decisions, for the report, and notes for the user
 * @throws CannotError when the folder cannot be written or decisions.json cannot be understood
 * @example
 * ```ts
 * import { openNight, writeLists } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * const { notes } = writeLists("nightyield-out/again", { table: night.table, paths: night.paths, folders: ["subs"] });
 * console.log(notes.length);
 * ```
 */
export function writeLists(
  folder: string,
  { table, paths, folders, contentKeys = [] }: NightToWrite,
  ops: FileOps = disk,
): { table: FrameTable; notes: string[] } {
  const files = paths.map((path, row): NightFile => {
    const facts = ops.lookThrough(path);
    const contentKey = contentKeys[row] ?? "";
    return {
      file: table.file[row]!,
      path,
      sizeBytes: facts?.sizeBytes ?? -1,
      modifiedMs: facts === null ? -1 : modifiedMsOf(facts.mtimeNs),
      ...(contentKey !== "" && { contentKey }),
      verdict: table.verdict[row]!,
      note: table.note[row]!,
    };
  });
  makeWritable(folder);
  return withNightLocked(
    folder,
    () => {
      const decisions = readDecisions(folder, ops);
      const decided = applyDecisions(table, files, decisions);
      const lines = files.map((file) => `\n    ${JSON.stringify(file)}`);
      const where = JSON.stringify(folders.map((given) => resolve(given)));
      writeSynced(join(folder, nightFile), `{\n  "folders": ${where},\n  "files": [${lines.join(",")}\n  ]\n}\n`, ops);
      const notes = writeDerived(folder, decided.table, paths, ops);
      const used = decisions.length - decided.unmatched.length;
      if (used > 0) notes.push(`${used} ${used === 1 ? "verdict is" : "verdicts are"} yours (decisions.json)`);
      if (decided.unmatched.length > 0) notes.push(unmatchedNote(decided.unmatched));
      return { table: decided.table, notes };
    },
    ops,
  );
}

/** Does something to a triage output folder while no other nightyield changes it. */
export const withNightLocked = <T>(folder: string, work: () => T, ops: FileOps = disk): T =>
  withLock(lockOf(folder), patienceMs, work, ops);

/** Writes the table and the lists; gives notes for the user. */
export function writeDerived(folder: string, table: FrameTable, paths: readonly string[], ops: FileOps): string[] {
  const { keep, drop, weights, leftOut } = makeLists(table, paths);
  writeSynced(join(folder, "frames.ecsv"), writeEcsv(table), ops);
  writeSynced(join(folder, "keep.txt"), keep, ops);
  writeSynced(join(folder, "drop.txt"), drop, ops);
  writeSynced(join(folder, "weights.csv"), weights, ops);
  return leftOut.map((path) => `${JSON.stringify(path)} has a line break in its name and is left out of the lists`);
}

/** Words for decisions whose subs are not there. */
export function unmatchedNote(unmatched: readonly Decision[]): string {
  const names = unmatched.slice(0, 3).map(({ file }) => file);
  const more = unmatched.length > names.length ? ` and ${unmatched.length - names.length} more` : "";
  return `decisions.json speaks of subs that are not light frames of this night: ${names.join(", ")}${more}; kept for later`;
}

/**
 * Reads a triage output folder back.
 * @throws CallError when it is none, CannotError when its files do not fit together
 * @example
 * ```ts
 * import { readNight } from "nightyield";
 * const { table, files, decisions } = readNight("nightyield-out/march14");
 * console.log(table.rows, files.length, decisions.length);
 * ```
 */
export function readNight(folder: string, ops: FileOps = disk): StoredNight {
  const text = readOf(folder, nightFile, ops);
  const graded = readEcsv(readOf(folder, "frames.ecsv", ops), join(folder, "frames.ecsv"));
  let night: { folders: string[]; files: NightFile[] };
  try {
    night = JSON.parse(text);
  } catch (cause) {
    throw unfit(folder, `${nightFile} is damaged`, cause);
  }
  const { folders, files } = night;
  if (!Array.isArray(folders) || !Array.isArray(files)) throw unfit(folder, `${nightFile} is damaged`);
  if (files.length !== graded.rows || files.some(({ file }, row) => file !== graded.file[row]))
    throw unfit(folder, `${nightFile} and frames.ecsv are not from the same run`);
  const table = withColumns(graded, {
    verdict: files.map(({ verdict }) => verdict),
    note: files.map(({ note }) => note),
  });
  const decisions = readDecisions(folder, ops);
  const decided = applyDecisions(table, files, decisions);
  return { folder, folders, files, graded: table, table: decided.table, decisions, unmatched: decided.unmatched };
}

/** The whole milliseconds of a file time. */
export const modifiedMsOf = (mtimeNs: bigint): number => Number(mtimeNs / 1_000_000n);

function readOf(folder: string, name: string, ops: FileOps): string {
  try {
    return ops.readText(join(folder, name));
  } catch (cause) {
    if (codeOf(cause) === "ENOENT" || codeOf(cause) === "ENOTDIR")
      throw new CallError(
        `${folder} holds no ${name}. Give the folder that nightyield triage wrote; run triage again if an older version wrote it`,
        { cause },
      );
    throw new CannotError(`Cannot read ${join(folder, name)}: ${(cause as Error).message}. Make it readable`, {
      cause,
    });
  }
}

function makeWritable(folder: string): void {
  try {
    mkdirSync(folder, { recursive: true });
  } catch (cause) {
    throw new CannotError(`Cannot make ${folder}: ${(cause as Error).message}. Choose another place with --out`, {
      cause,
    });
  }
}

const unfit = (folder: string, problem: string, cause?: unknown) =>
  new CannotError(`Cannot use ${folder}: ${problem}. Run nightyield triage again with --out ${folder}`, { cause });
