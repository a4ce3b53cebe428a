import { basename, resolve } from "node:path";
import { CallError } from "../terms/errors.js";
import { applyDecisions, type Decision, writeDecisions } from "./decisions.js";
import { disk, type FileOps } from "./file-ops.js";
import { type NightFile, readNight, type StoredNight, withNightLocked, writeDerived } from "./night-files.js";
import { identityIndex } from "./sub-identity.js";

/** What to decide. `clear` takes earlier decisions back. */
export interface MarkRequest {
  readonly as: "keep" | "drop" | "clear";
  readonly because?: string;
  /** Now, ISO 8601. */
  readonly atUtc: string;
}

export interface MarkResult {
  /** The subs as named in the table. */
  readonly marked: readonly string[];
  /** Decisions that stand now. */
  readonly decisions: readonly Decision[];
  readonly notes: readonly string[];
}

/**
 * Stores the user's decisions on some subs of a triage output folder and writes its table and lists anew. decisions.json
 * is written first: whatever happens later, the decision is not lost.
 * @param names - as in the table, as path, or the bare file name where it is unique
 * @throws CallError when a name fits no sub or several, or the file is no light frame; CannotError when a file cannot be
 * read or written
 * @example
 * ```ts
 * import { markSubs, openNight } from "nightyield";
 * const { table } = await openNight("nightyield-out/march14");
 * const mark = { as: "keep", because: "faint, but sharp", atUtc: new Date().toISOString() } as const;
 * markSubs("nightyield-out/march14", [table.file[2]], mark);
 * console.log((await openNight("nightyield-out/march14")).table.verdict[2]);
 * ```
 */
export function markSubs(
  folder: string,
  names: readonly string[],
  { as, because, atUtc }: MarkRequest,
  ops: FileOps = disk,
): MarkResult {
  readNight(folder, ops); // so that no lock is left in a folder that is none of ours
  return withNightLocked(
    folder,
    () => {
      const night = readNight(folder, ops);
      const marked: string[] = [];
      const later: Decision[] = [];
      const overruled = new Set<Decision>();
      const find = identityIndex(night.files);
      const rowsOf = new Map(night.decisions.map((decision) => [decision, new Set(find(decision))]));
      for (const name of new Set(names)) {
        const row = rowNamed(night, name);
        if (row === null && as !== "clear") throw unknownName(night, name);
        const earlier = night.decisions.filter((decision) =>
          row === null ? decision.file === name : rowsOf.get(decision)!.has(row),
        );
        if (row === null && earlier.length === 0) throw unknownName(night, name);
        if (as === "clear" && earlier.length === 0)
          throw new CallError(`There is no decision on ${name} to clear. nightyield mark ${folder} lists them`);
        for (const decision of earlier) overruled.add(decision);
        marked.push(row === null ? name : night.files[row]!.file);
        if (row === null || as === "clear") continue;
        if (night.table.kind[row] !== "light")
          throw new CallError(
            `${name} is of kind '${night.table.kind[row]}'. Only light frames are kept for the stack or dropped from it`,
          );
        const { file, sizeBytes, contentKey } = night.files[row]!;
        const key = contentKey === undefined ? {} : { contentKey };
        later.push({ file, sizeBytes, ...key, as, ...(because !== undefined && { because }), atUtc });
      }
      const decisions = [...night.decisions.filter((decision) => !overruled.has(decision)), ...later];
      writeDecisions(folder, decisions, ops);
      const decided = applyDecisions(night.graded, night.files, decisions);
      const notes = writeDerived(
        folder,
        decided.table,
        night.files.map(({ path }) => path),
        ops,
      );
      return { marked, decisions, notes };
    },
    ops,
  );
}

/** The row that a name means; null: none. */
function rowNamed({ files }: StoredNight, name: string): number | null {
  const path = resolve(name);
  const slashed = name.replaceAll("\\", "/");
  const ways: ((file: NightFile) => boolean)[] = [
    (file) => file.file === name,
    (file) => file.path === path,
    (file) => file.file === slashed,
    (file) => basename(file.file) === name,
  ];
  for (const way of ways) {
    const rows = files.flatMap((file, row) => (way(file) ? [row] : []));
    if (rows.length > 1) {
      const some = rows.slice(0, 3).map((row) => files[row]!.path);
      throw new CallError(`${name} means ${rows.length} subs: ${some.join(", ")}. Give one of them by its path`);
    }
    if (rows.length === 1) return rows[0]!;
  }
  return null;
}

const unknownName = (night: StoredNight, name: string) =>
  new CallError(
    `There is no sub ${name} in ${night.folder}. Name it as in frames.ecsv, for example ${night.files[0]?.file ?? "sub_1.fits"}, or give its path`,
  );
