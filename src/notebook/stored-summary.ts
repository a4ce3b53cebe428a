import { existsSync, readFileSync } from "node:fs";
import { basename, join, resolve } from "node:path";
import { defaultLimits, type Limits } from "../grade/limits.js";
import { CannotError } from "../terms/errors.js";

/** What the summary beside a frame table knows that the table does not. */
export interface StoredSummary {
  /** The names of the folders of subs. */
  readonly folders: readonly string[];
  /** What the verdicts were worked out by. */
  readonly limits: Limits;
}

/**
 * Reads summary.json of a triage result. Where it is missing, or an older version wrote it, verdicts are taken to be those
 * of the usual limits.
 * @throws CannotError when it cannot be understood
 */
export function storedSummary(folder: string): StoredSummary {
  const file = join(folder, "summary.json");
  let json: { folders?: unknown; limits?: unknown } = {};
  try {
    if (existsSync(file)) json = JSON.parse(readFileSync(file, "utf8"));
  } catch (cause) {
    throw new CannotError(`Cannot read ${file}: ${(cause as Error).message}. Run nightyield triage again`, { cause });
  }
  const { folders, limits } = json;
  return {
    folders: Array.isArray(folders) ? folders.map(String) : [basename(resolve(folder))],
    limits: isLimits(limits) ? limits : defaultLimits,
  };
}

/** The same limits by name, each a number. */
function isLimits(value: unknown, like: object = defaultLimits): value is Limits {
  if (typeof value !== "object" || value === null) return false;
  const given = value as Record<string, unknown>;
  return Object.entries(like).every(([name, usual]) =>
    typeof usual === "object" ? isLimits(given[name], usual) : Number.isFinite(given[name]),
  );
}
