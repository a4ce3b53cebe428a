import { join } from "node:path";
import { CannotError } from "../terms/errors.js";
import { type FrameTable, withColumns } from "../terms/frame-table.js";
import { codeOf, disk, type FileOps } from "./file-ops.js";
import { jsonFault, lineOfListed } from "./json-lines.js";
import { identityIndex, type SubIdentity } from "./sub-identity.js";
import { writeSynced } from "./write-synced.js";

/** What the user decided about one sub; it wins over the grade. */
export interface Decision extends SubIdentity {
  readonly as: "keep" | "drop";
  readonly because?: string;
  /** When, ISO 8601. */
  readonly atUtc?: string;
}

/** The user's decisions live in this file of a triage output folder. Nothing but `mark` and the user writes it. */
export const decisionsFile = "decisions.json";

/**
 * Reads the decisions of a triage output folder; none when there is no such file.
 * @throws CannotError naming file, line and remedy when the file was damaged or edited wrongly; it is left as it is
 * @example
 * ```ts
 * import { readDecisions } from "nightyield";
 * console.log(readDecisions("nightyield-out/march14").length);
 * ```
 */
export function readDecisions(folder: string, ops: FileOps = disk): Decision[] {
  const path = join(folder, decisionsFile);
  let text: string;
  try {
    text = ops.readText(path);
  } catch (cause) {
    if (codeOf(cause) === "ENOENT") return [];
    throw new CannotError(`Cannot read ${path}: ${(cause as Error).message}. Make it readable`, { cause });
  }
  return parseDecisions(text, path);
}

/**
 * Reads decisions from JSON: `{"decisions": [{"file": "sub_1.fits", "as": "drop", "because": "..."}]}`.
 * @param path - for messages
 * @throws CannotError as {@link readDecisions}
 */
export function parseDecisions(text: string, path: string): Decision[] {
  const plain = text.startsWith("\ufeff") ? text.slice(1) : text;
  const fault = jsonFault(plain);
  if (fault !== null) throw wrong(path, fault.line, `expected ${fault.expected} at column ${fault.column}`);
  const list = (JSON.parse(plain) as { decisions?: unknown } | null)?.decisions;
  if (!Array.isArray(list)) throw wrong(path, 1, 'expected {"decisions": [...]}');
  return list.map((item: unknown, n) => {
    const problem = problemOf(item);
    if (problem !== null) throw wrong(path, lineOfListed(plain, n), problem);
    const { file, sizeBytes, contentKey, as, because, atUtc } = item as Decision;
    return {
      file,
      ...(sizeBytes !== undefined && { sizeBytes }),
      ...(contentKey !== undefined && { contentKey }),
      as,
      ...(because !== undefined && { because }),
      ...(atUtc !== undefined && { atUtc }),
    };
  });
}

function problemOf(item: unknown): string | null {
  if (typeof item !== "object" || item === null || Array.isArray(item))
    return 'expected a decision like {"file": "sub_1.fits", "as": "drop"}';
  const { file, as, sizeBytes, ...others } = item as Record<string, unknown>;
  if (typeof file !== "string" || file === "") return '"file" must be the name of a sub as in frames.ecsv';
  if (as !== "keep" && as !== "drop") return `"as" is ${JSON.stringify(as) ?? "missing"}, expected "keep" or "drop"`;
  if (sizeBytes !== undefined && !(Number.isSafeInteger(sizeBytes) && Number(sizeBytes) >= 0))
    return '"sizeBytes" must be a whole number, or left out';
  for (const [key, value] of Object.entries(others)) {
    if (!["contentKey", "because", "atUtc"].includes(key))
      return `the key ${JSON.stringify(key)} is not known; keys: file, as, because, sizeBytes, contentKey, atUtc`;
    if (typeof value !== "string") return `"${key}" must be a text`;
  }
  return null;
}

const wrong = (path: string, line: number, problem: string) =>
  new CannotError(
    `Cannot read your decisions in ${path}, line ${line}: ${problem}. Correct that line; until then the file is left as it is and nothing is written`,
  );

/**
 * Writes the decisions, one a line, whole and synced.
 * @throws CannotError when it cannot be written; the old file then stays
 */
export function writeDecisions(folder: string, decisions: readonly Decision[], ops: FileOps = disk): void {
  const lines = decisions.map((decision) => `\n    ${JSON.stringify(decision)}`);
  writeSynced(
    join(folder, decisionsFile),
    `{\n  "decisions": [${lines.join(",")}${lines.length ? "\n  " : ""}]\n}\n`,
    ops,
  );
}

/** A table in which the user's decisions have won, and the decisions that fit no sub of it. */
export interface DecidedTable {
  readonly table: FrameTable;
  /** Decisions about subs that are not in the table; they are kept for when the subs are back. */
  readonly unmatched: readonly Decision[];
}

/**
 * Lets the user's decisions win: verdict as decided, with a note that says that it was by hand. Only light frames can
 * be decided on. The later of two decisions about one sub counts.
 * @param subs - what each row of the table is known by
 * @example
 * ```ts
 * import { applyDecisions, openNight, readDecisions } from "nightyield";
 * const { table } = await openNight("nightyield-out/march14");
 * const subs = table.file.map((file) => ({ file }));
 * console.log(applyDecisions(table, subs, readDecisions("nightyield-out/march14")).unmatched.length);
 * ```
 */
export function applyDecisions(
  table: FrameTable,
  subs: readonly SubIdentity[],
  decisions: readonly Decision[],
): DecidedTable {
  if (decisions.length === 0) return { table, unmatched: [] };
  const find = identityIndex(subs);
  const byRow = new Map<number, Decision>();
  const unmatched: Decision[] = [];
  for (const decision of decisions) {
    const rows = find(decision).filter((row) => table.kind[row] === "light");
    if (rows.length === 0) unmatched.push(decision);
    for (const row of rows) byRow.set(row, decision);
  }
  const verdict = table.verdict.map((graded, row) => byRow.get(row)?.as ?? graded);
  const note = table.note.map((old, row) => {
    const decision = byRow.get(row);
    if (decision === undefined) return old;
    const reason = decision.because === undefined ? "" : `: ${decision.because}`;
    const hand = `${decision.as} by hand (graded ${table.verdict[row]})${reason}`;
    return old === "" ? hand : `${old}; ${hand}`;
  });
  return { table: withColumns(table, { verdict, note }), unmatched };
}
