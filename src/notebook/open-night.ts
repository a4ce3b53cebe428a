import { existsSync, readFileSync } from "node:fs";
import { basename, join } from "node:path";
import { readNight } from "../act/night-files.js";
import { explainNight } from "../explain/explain-night.js";
import { gradeNight } from "../grade/grade-night.js";
import type { Limits } from "../grade/limits.js";
import { type NightRequest, outcomeOf, type TriagedNight, triageNight } from "../night.js";
import { combineTables } from "../plan/combine.js";
import { groupSetups, type SaidOfGroup, saidOfSetup } from "../plan/group-setup.js";
import type { Site } from "../sky/site.js";
import { readEcsv } from "../terms/ecsv.js";
import { CallError } from "../terms/errors.js";
import { type FrameTable, withColumns } from "../terms/frame-table.js";
import type { Symptom } from "../terms/symptoms.js";
import { storedSummary } from "./stored-summary.js";

/**
 * A night, or several, from wherever they are: folders of subs are measured and graded; a folder that `nightyield triage`
 * wrote is read, with your own decisions in it, and nothing is measured again. Several results of triage are put together
 * on one scale.
 * @param places - one folder or several; either all with subs, or all results of triage
 * @param request - as for {@link triageNight}; `jobs`, `store` and `given` matter only where subs are measured
 * @throws CallError when a folder is not there, or both kinds are mixed; CannotError when there is no FITS file in it or a
 * result cannot be understood
 * @example
 * ```ts
 * import { nightSummary, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(nightSummary(night).join("\n"));
 * ```
 */
export async function openNight(places: string | readonly string[], request: NightRequest = {}): Promise<TriagedNight> {
  const folders = typeof places === "string" ? [places] : places;
  if (folders.length === 0) throw new CallError("Give at least one folder: subs, or a result of nightyield triage");
  const results = folders.filter((folder) => existsSync(join(folder, "frames.ecsv")));
  if (results.length === 0) return triageNight(folders, request);
  if (results.length < folders.length)
    throw new CallError(
      `${results[0]} is a result of nightyield triage and ${folders.find((each) => !results.includes(each))} is not. Give folders of one kind`,
    );
  return resultOf(results.map(storedNight), request);
}

/** What one result of triage holds. */
interface Stored {
  /** As graded, without the user's decisions where these can be told apart. */
  readonly table: FrameTable;
  readonly symptomsOfRow: readonly (readonly Symptom[])[];
  /** With the user's decisions. */
  readonly decided: FrameTable;
  readonly paths: readonly string[];
  readonly folders: readonly string[];
  /** What the verdicts were worked out by. */
  readonly limits: Limits;
  readonly site: Site | null;
  readonly said: readonly SaidOfGroup[];
}

/** A result of triage. In a bundle it lacks night.json, and its verdicts are those with the decisions. */
function storedNight(folder: string): Stored {
  const file = join(folder, "frames.ecsv");
  const { folders: names, limits, site, setups } = storedSummary(folder);
  const said = setups.map(saidOfSetup);
  if (!existsSync(join(folder, "night.json"))) {
    const table = readEcsv(readFileSync(file, "utf8"), file);
    const paths = table.file.map(() => "");
    return { table, ...symptomsIn(table, limits), decided: table, paths, folders: names, limits, site, said };
  }
  const { graded, table: decided, files, folders } = readNight(folder);
  const table = withColumns(graded, {
    verdict: files.map(({ verdict }) => verdict),
    note: files.map(({ note }) => note),
  });
  const paths = files.map(({ path }) => path);
  return {
    table,
    ...symptomsIn(table, limits),
    decided,
    paths,
    folders: folders.map((each) => basename(each)),
    limits,
    site,
    said,
  };
}

/** The table holds the symptoms' codes; grading it once more gives their numbers. */
const symptomsIn = (table: FrameTable, limits: Limits) => ({ symptomsOfRow: gradedAgain(table, limits).symptomsOfRow });

function gradedAgain(table: FrameTable, limits: Limits): Pick<Stored, "table" | "symptomsOfRow"> {
  const given = table.kind.map((kind, row) => (kind === "unreadable" ? [unreadable(table.note[row])] : []));
  return gradeNight(table, { given, limits });
}

/** From the note of the file's row: "byte 8640: the file ends there. Copy it again". */
function unreadable(note: string): Symptom {
  const [, offset, problem, remedy] = /^byte (\d+): (.*?)\. (.*)$/s.exec(note) ?? [];
  return { code: "unreadable", offsetBytes: Number(offset), problem: problem ?? note, remedy: remedy ?? "" };
}

function resultOf(read: readonly Stored[], { limits, version = "" }: NightRequest): TriagedNight {
  const together = (tables: readonly FrameTable[]) => (tables.length === 1 ? tables[0] : combineTables(tables).table);
  const before = together(read.map(({ table }) => table));
  // With limits of your own, verdicts are worked out anew; over several results they are compared with one another.
  const graded =
    limits === undefined
      ? { table: before, symptomsOfRow: read.flatMap(({ symptomsOfRow }) => symptomsOfRow) }
      : gradedAgain(before, limits);
  const { table: explained, explanation } = explainNight(graded.table, graded.symptomsOfRow);
  const decided = together(read.map(({ decided: each }) => each));
  const yours = explained.verdict.map((verdict, row) =>
    decided.verdict[row] === before.verdict[row] ? verdict : decided.verdict[row],
  );
  const table = withColumns(explained, { verdict: yours, note: decided.note });
  return {
    folders: read.flatMap(({ folders }) => folders),
    paths: read.flatMap(({ paths }) => paths),
    table,
    symptomsOfRow: graded.symptomsOfRow,
    ...outcomeOf(table, limits ?? read[0].limits),
    explanation,
    limits: limits ?? read[0].limits,
    notes: [],
    attention: table.kind.flatMap((kind, row) =>
      kind === "unreadable" ? [`Cannot read ${table.file[row]} at ${table.note[row]}`] : [],
    ),
    site: read.find(({ site }) => site !== null)?.site ?? null,
    setups: groupSetups(
      table,
      read.flatMap(({ said }) => said),
    ),
    version,
  };
}
