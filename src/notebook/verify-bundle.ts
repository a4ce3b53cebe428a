import { type Decision, parseDecisions } from "../act/decisions.js";
import type { Given } from "../read/exposure-facts.js";
import { findFiles } from "../read/folders.js";
import { readEcsv } from "../terms/ecsv.js";
import { CannotError } from "../terms/errors.js";
import { type ColumnName, columnNames, type FrameTable, selectRows } from "../terms/frame-table.js";
import { type BundleManifest, manifestName, readManifest } from "./bundle-manifest.js";
import { compareJson, compareNotebooks } from "./compare-json.js";
import { compareTables, type Difference } from "./compare-tables.js";
import type { KernelCommand } from "./kernel-process.js";
import { hashFile, sha256 } from "./make-bundle.js";
import type { Json, Notebook } from "./notebook-shape.js";
import { folderNames, injectedValues, readsItsFolder, runAmong } from "./own-folder.js";
import { parametersOf } from "./parameters.js";
import { parseNotebook } from "./parse-notebook.js";
import { compareParts, digestParts } from "./part-digests.js";
import { privateNotebook } from "./private-text.js";
import { gradedColumns, regrade, remeasure } from "./regrade.js";
import { readZip, type ZipEntry } from "./zip.js";

export interface VerifyOptions {
  /** Name of the bundle, for messages. */
  readonly file: string;
  readonly version: string;
  readonly now: () => Date;
  /** Folders with the subs; they are measured again. Without any only the table is graded again. */
  readonly subs?: readonly string[];
  /** What the headers do not say, as it was given to triage. */
  readonly given?: Given;
  /** Values for parameters of the notebooks. */
  readonly parameters?: { readonly [name: string]: Json };
  readonly kernel?: KernelCommand;
  readonly onProgress?: (done: number, total: number, file: string) => void;
}

/** One thing that was checked. */
export interface VerifyCheck {
  readonly what: string;
  readonly compared: number;
  readonly differences: readonly Difference[];
  /** What could not be compared, and why. */
  readonly notes: readonly string[];
}

/**
 * Does everything in a bundle once more and compares: the files with their hashes; verdicts, symptoms, weights and groups
 * from the frame table; every measured value where the subs are at hand; the outputs of notebooks.
 * @throws CannotError when the file is no bundle or the subs cannot be read
 */
export async function verifyBundle(zip: Uint8Array, options: VerifyOptions): Promise<VerifyCheck[]> {
  const entries = readZip(zip, options.file);
  const manifest = readManifest(entries, options.file);
  const textOf = (name: string) => {
    const entry = entries.find((each) => each.name === name);
    return entry === undefined ? null : Buffer.from(entry.bytes).toString("utf8");
  };
  const ecsv = textOf("frames.ecsv");
  if (ecsv === null) throw new CannotError(`${options.file} holds no frames.ecsv. Ask for the bundle again`);
  const table = readEcsv(ecsv, "frames.ecsv");
  const decisionsText = textOf("decisions.json");
  const decisions = decisionsText === null ? [] : parseDecisions(decisionsText, "decisions.json");
  const checks = [
    checkContents(entries, manifest, options.version),
    checkParts(entries, manifest, table),
    checkGrading(table, decisions, manifest, textOf("summary.json")),
  ];
  if (options.subs !== undefined && options.subs.length > 0)
    checks.push(checkHashes(table, manifest, options.subs), await checkMeasuring(table, manifest, decisions, options));
  const notebooks = entries.filter(({ name }) => name.endsWith(".ipynb"));
  for (const { name, bytes } of notebooks) {
    const notebook = parseNotebook(Buffer.from(bytes).toString("utf8"), name);
    checks.push(await checkNotebook(name, notebook, entries, options));
  }
  return checks;
}

function checkContents(entries: readonly ZipEntry[], manifest: BundleManifest, version: string): VerifyCheck {
  const { contents, versions } = manifest;
  const differences: Difference[] = [];
  const where = "the bundle";
  const listed = new Map(contents.map((content) => [content.name, content]));
  for (const { name, bytes } of entries) {
    if (name === manifestName) continue;
    const content = listed.get(name);
    listed.delete(name);
    const found = sha256(bytes);
    if (content === undefined)
      differences.push({ where, row: name, column: "file", bundled: "not listed", found: "is there" });
    else if (content.sha256 !== found)
      differences.push({ where, row: name, column: "sha256", bundled: content.sha256, found });
  }
  for (const name of listed.keys())
    differences.push({ where, row: name, column: "file", bundled: "listed", found: "is missing" });
  const notes =
    versions.nightyield === version
      ? []
      : [`Made by version ${versions.nightyield}, checked by ${version}: numbers may differ for that reason`];
  return { what: "files of the bundle against their hashes", compared: contents.length, differences, notes };
}

function checkParts(entries: readonly ZipEntry[], { parts }: BundleManifest, table: FrameTable): VerifyCheck {
  const what = "every cell of the table, every part of summaries and notebooks, against what was bundled";
  if (parts === undefined)
    return {
      what,
      compared: 0,
      differences: [],
      notes: ["An earlier version made this bundle; it does not hold this"],
    };
  return { what, ...compareParts(parts, digestParts(entries), table), notes: [] };
}

function checkGrading(
  table: FrameTable,
  decisions: readonly Decision[],
  { subs, limits }: BundleManifest,
  summary: string | null,
): VerifyCheck {
  const again = regrade(table, decisions, subs, limits);
  const rows = compareTables(table, again.table, { where: "frames.ecsv", columns: gradedColumns });
  const what = "verdicts, symptoms, weights and groups, graded again from the table";
  if (summary === null) return { what, ...rows, notes: ["There is no summary.json: groups were not compared"] };
  const bundledGroups = (JSON.parse(summary) as { readonly groups?: unknown }).groups;
  // Through text, as the summary was: what is not a number became null.
  const groups = compareJson(bundledGroups, JSON.parse(JSON.stringify(again.groups)), {
    where: "summary.json",
    row: "groups",
  });
  return {
    what,
    compared: rows.compared + groups.compared,
    differences: [...rows.differences, ...groups.differences],
    notes: [],
  };
}

function checkHashes(
  table: FrameTable,
  { subs, subsNotFound }: BundleManifest,
  folders: readonly string[],
): VerifyCheck {
  const differences: Difference[] = [];
  const where = "the subs";
  const paths = new Map(findFiles(folders).files.map(({ file, path }) => [file, path]));
  for (const { file, sha256: bundled } of subs) {
    const path = paths.get(file);
    const found = path === undefined ? null : hashFile(path);
    if (found === null)
      differences.push({ where, row: file, column: "file", bundled: "was there", found: "is missing" });
    else if (found.sha256 !== bundled)
      differences.push({ where, row: file, column: "sha256", bundled, found: found.sha256 });
  }
  const notes = subsNotFound.map(
    (file) => `${file} had no hash in the bundle: it was not found when the bundle was made`,
  );
  return { what: `subs against their hashes (${table.rows} rows)`, compared: subs.length, differences, notes };
}

/** What a sub has there depends on the others of its group, so with one sub missing it changes. */
const amongSubs = [
  "starCount",
  "transparency",
  "transparencyError",
  "shiftXPx",
  "shiftYPx",
  "rotationDeg",
  "skyMagArcsec2",
  "effectiveExposureS",
  "weight",
  "verdict",
  "symptoms",
  "cause",
  "causeProbability",
] as const satisfies readonly ColumnName[];

async function checkMeasuring(
  table: FrameTable,
  { roundedColumns: rounded, limits }: BundleManifest,
  decisions: readonly Decision[],
  { subs = [], version, given, onProgress }: VerifyOptions,
): Promise<VerifyCheck> {
  const found = await remeasure(subs, { version, limits, ...(given && { given }), ...(onProgress && { onProgress }) });
  const there = new Set(found.file);
  const bundled = selectRows(
    table,
    Array.from(table.file.keys()).filter((row) => there.has(table.file[row]!)),
  );
  const notes: string[] = [];
  const missing = table.rows - bundled.rows;
  if (missing > 0)
    notes.push(
      `${missing} of ${table.rows} files are missing, so these columns, in which subs are compared with one another, were left out: ${amongSubs.join(", ")}`,
    );
  const columns = columnNames.filter((column) => {
    if (missing > 0 && (amongSubs as readonly string[]).includes(column)) return false;
    // Decisions change verdict and note after grading, and were compared with the table already; paths in notes are cut.
    if (column === "note" || (column === "verdict" && decisions.length > 0)) return false;
    const values = found[column];
    const lost = typeof values[0] === "number" && Array.from(values as ArrayLike<number>).every(Number.isNaN);
    const had = lost && Array.from(table[column] as ArrayLike<number>).some((value) => !Number.isNaN(value));
    if (had && column in rounded)
      notes.push(`${column} could not be worked out again: give --site and --target as they were given to triage`);
    return !(had && column in rounded);
  });
  const { differences, compared } = compareTables(bundled, found, { where: "measured again", columns, rounded });
  return { what: "every column, measured again from the subs", compared, differences, notes };
}

async function checkNotebook(
  name: string,
  notebook: Notebook,
  entries: readonly ZipEntry[],
  { subs = [], parameters = {}, kernel, now }: VerifyOptions,
): Promise<VerifyCheck> {
  const what = `outputs of ${name}, run again`;
  const known = parametersOf(notebook);
  const own = Object.entries(parameters).filter(([given]) => known.some((parameter) => parameter.name === given));
  const values: Record<string, Json> = Object.fromEntries(own);
  const place = known.find((parameter) => folderNames.includes(parameter.name));
  // A notebook that reads the frame table beside it needs no subs.
  if (readsItsFolder(notebook)) Object.assign(values, { ...injectedValues(notebook), ...values });
  else if (place !== undefined && values[place.name] === undefined) {
    if (subs.length === 0)
      return { what, compared: 0, differences: [], notes: [`Not run: it needs the subs, give --subs FOLDER`] };
    values[place.name] = place.default.startsWith("[") ? [...subs] : subs[0]!;
  }
  const ran = await runAmong(entries, notebook, { now, parameters: values, ...(kernel && { kernel }) });
  const hidden = { keepPaths: false, keepSite: true, folders: [ran.folder, ...subs] };
  return {
    what,
    ...compareNotebooks(privateNotebook(notebook, hidden), privateNotebook(ran.notebook, hidden), name),
    notes: [],
  };
}
