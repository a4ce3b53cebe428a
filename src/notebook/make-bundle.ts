import { createHash } from "node:crypto";
import { closeSync, openSync, readdirSync, readFileSync, readSync, statSync } from "node:fs";
import { join } from "node:path";
import { parseDecisions } from "../act/decisions.js";
import { readEcsv, writeEcsv } from "../terms/ecsv.js";
import { CallError } from "../terms/errors.js";
import { type FrameTable, type NumberColumnName, withColumns } from "../terms/frame-table.js";
import { type BundledSub, type BundleManifest, manifestName } from "./bundle-manifest.js";
import type { KernelCommand } from "./kernel-process.js";
import { isObject, type Json } from "./notebook-shape.js";
import { declared, injectedValues, readsItsFolder, runAmong } from "./own-folder.js";
import { digestParts } from "./part-digests.js";
import { inJson, noteWithoutSite, privateNotebook, summaryWithoutSite, withoutPaths } from "./private-text.js";
import { readNotebook } from "./read-notebook.js";
import { gradedColumns, regrade } from "./regrade.js";
import { storedSummary } from "./stored-summary.js";
import { writeNotebook } from "./write-notebook.js";
import { writeZip, type ZipEntry } from "./zip.js";

export interface BundleOptions {
  readonly version: string;
  /** Keep the columns and parameters from which the observer's place can be told, as they are. */
  readonly withSite?: boolean;
  /** Keep absolute paths, which may hold a user's name. */
  readonly withPaths?: boolean;
  /**
   * The date of the messages to a kernel: with it, notebooks that read this folder's frame table are run again on what
   * goes into the bundle, so that they show its rounded values and no pictures of subs. Without it they stay as they are.
   */
  readonly now?: () => Date;
  /** Another kernel than this project's own. */
  readonly kernel?: KernelCommand;
  readonly onProgress?: (done: number, total: number, file: string) => void;
}

/** The columns that tell where the observer stood, and the decimals they are rounded to; airmass has its own rule. */
const placeColumns: Partial<Record<NumberColumnName, number>> = {
  altitudeDeg: 0,
  azimuthDeg: 0,
  sunAltitudeDeg: 0,
  moonAltitudeDeg: 0,
  moonSeparationDeg: 0,
  rotationRateDegPerH: 0,
  rotationBlurPx: 1,
  skyMagArcsec2: 1,
};

/** A tenth of airmass is about as much as a degree of altitude tells; whole ones would change what causes weigh. */
const leastAirmassDecimals = 1;

/**
 * Packs a triage output folder so that others can check it: notebooks with their outputs, the frame table, the user's
 * decisions, parameters, limits, versions and the hash of each sub, but not the subs. The observer's place is coarsened
 * and paths are cut to file names unless asked for; the manifest says so.
 * @returns the zip and its manifest
 * @throws CallError when the folder is no triage output
 */
export async function makeBundle(
  folder: string,
  options: BundleOptions,
): Promise<{ zip: Uint8Array; manifest: BundleManifest }> {
  const { withSite = false, withPaths = false, now, kernel } = options;
  const read = (name: string) => textIn(folder, name);
  const given = readEcsv(needed(folder, "frames.ecsv"), "frames.ecsv");
  const night = read("night.json");
  const { paths, folders } = placesOf(given, night, `${read("keep.txt") ?? ""}${read("drop.txt") ?? ""}`);
  const { subs, subsNotFound } = hashSubs(given, paths, options.onProgress);
  const decisions = read("decisions.json");
  const { table, roundedColumns } = withSite ? { table: given, roundedColumns: {} } : coarsened(given, decisions, subs);
  const clean = (text: string) => (withPaths ? text : withoutPaths(text, folders));

  const entries: (ZipEntry & { readonly what: string })[] = [];
  const add = (name: string, what: string, text: string) => entries.push({ name, what, bytes: Buffer.from(text) });
  const privateNote = (note: string) => clean(withSite ? note : noteWithoutSite(note));
  const privateTable = withColumns(table, { note: table.note.map(privateNote) });
  add("frames.ecsv", "the frame table: one row a file", writeEcsv(privateTable));
  const summary = read("summary.json");
  if (summary !== null) {
    const json = JSON.parse(summary) as Json;
    const shared = inJson(withSite ? json : summaryWithoutSite(json), clean);
    add("summary.json", "the night's story and groups", `${JSON.stringify(shared, null, 1)}\n`);
  }
  if (decisions !== null) add("decisions.json", "the user's own verdicts", jsonText(decisions, clean));
  const parameters: Record<string, Record<string, string>> = {};
  const rerun: string[] = [];
  for (const name of readdirSync(folder)
    .filter((each) => each.endsWith(".ipynb"))
    .sort()) {
    const hidden = { keepPaths: withPaths, keepSite: withSite, folders };
    const given = readNotebook(join(folder, name));
    const again = now !== undefined && readsItsFolder(given);
    const ran = again
      ? await runAmong(entries, given, { now, parameters: injectedValues(given), ...(kernel && { kernel }) })
      : null;
    const notebook = privateNotebook(ran?.notebook ?? given, hidden);
    if (ran !== null) rerun.push(name);
    parameters[name] = declared(notebook);
    add(name, "a notebook with its outputs", writeNotebook(notebook));
  }
  const manifest: BundleManifest = {
    format: "nightyield bundle",
    formatVersion: 1,
    versions: { nightyield: options.version, node: process.versions.node },
    contents: entries.map(({ name, what, bytes }) => ({ name, what, bytes: bytes.length, sha256: sha256(bytes) })),
    parts: digestParts(entries),
    privacy: privacyWords(withSite, withPaths, roundedColumns, rerun),
    roundedColumns,
    parameters,
    limits: storedSummary(folder).limits,
    subs,
    subsNotFound,
  };
  const first = { name: manifestName, bytes: Buffer.from(`${JSON.stringify(manifest, null, 1)}\n`) };
  return { zip: writeZip([first, ...entries]), manifest };
}

export const sha256 = (bytes: Uint8Array): string => createHash("sha256").update(bytes).digest("hex");

function textIn(folder: string, name: string): string | null {
  try {
    return readFileSync(join(folder, name), "utf8");
  } catch {
    return null;
  }
}

function needed(folder: string, name: string): string {
  const text = textIn(folder, name);
  if (text === null) throw new CallError(`${folder} holds no ${name}. Give the folder that nightyield triage wrote`);
  return text;
}

function jsonText(text: string, change: (text: string) => string): string {
  return `${JSON.stringify(inJson(JSON.parse(text) as Json, change), null, 1)}\n`;
}

/** Where each row's file is: night.json says it; without it the lists do for those that are in them. */
function placesOf(table: FrameTable, night: string | null, lists: string) {
  const byFile = new Map<string, string>();
  let folders: string[] = [];
  const json: unknown = night === null ? null : JSON.parse(night);
  if (isObject(json) && Array.isArray(json.files)) {
    for (const entry of json.files as { file: string; path: string }[]) byFile.set(entry.file, entry.path);
    if (Array.isArray(json.folders)) folders = json.folders as string[];
  } else {
    const listed = lists.split("\n").filter(Boolean);
    const roots = new Set<string>();
    const files = new Set(table.file);
    for (const path of listed) {
      const slashed = path.replaceAll("\\", "/");
      for (let at = slashed.indexOf("/"); at >= 0; at = slashed.indexOf("/", at + 1))
        if (files.has(slashed.slice(at + 1))) roots.add(path.slice(0, at));
    }
    folders = [...roots];
    for (const file of table.file)
      for (const root of folders)
        if (statSync(join(root, file), { throwIfNoEntry: false })) byFile.set(file, join(root, file));
  }
  return { paths: table.file.map((file) => byFile.get(file) ?? null), folders };
}

function hashSubs(table: FrameTable, paths: readonly (string | null)[], onProgress: BundleOptions["onProgress"]) {
  const subs: BundledSub[] = [];
  const subsNotFound: string[] = [];
  paths.forEach((path, row) => {
    const file = table.file[row]!;
    const hashed = path === null ? null : hashFile(path);
    if (hashed === null) subsNotFound.push(file);
    else subs.push({ file, ...hashed });
    onProgress?.(row + 1, table.rows, file);
  });
  return { subs, subsNotFound };
}

/** Length and SHA-256 of a file, read in pieces; null when it cannot be read. */
export function hashFile(path: string): { sizeBytes: number; sha256: string } | null {
  let descriptor: number;
  try {
    descriptor = openSync(path, "r");
  } catch {
    return null;
  }
  try {
    const hash = createHash("sha256");
    const piece = Buffer.alloc(1 << 20);
    let sizeBytes = 0;
    for (let got = readSync(descriptor, piece); got > 0; got = readSync(descriptor, piece)) {
      hash.update(piece.subarray(0, got));
      sizeBytes += got;
    }
    return { sizeBytes, sha256: hash.digest("hex") };
  } catch {
    return null;
  } finally {
    closeSync(descriptor);
  }
}

/**
 * The table with the columns of the place rounded. Grading needs the airmass: it gets as few decimals as leave every
 * verdict, symptom and weight as it was, so that the bundle can be graded again.
 */
function coarsened(table: FrameTable, decisions: string | null, subs: readonly BundledSub[]) {
  const rounded: Record<string, number> = { ...placeColumns };
  const columns = Object.fromEntries(
    Object.entries(placeColumns).map(([name, decimals]) => [name, roundAll(table[name as NumberColumnName], decimals)]),
  );
  const decided = decisions === null ? [] : parseDecisions(decisions, "decisions.json");
  const before = regrade(table, decided, subs).table;
  for (let decimals = leastAirmassDecimals; ; decimals++) {
    const tried = withColumns(table, { ...columns, airmass: roundAll(table.airmass, decimals) });
    const after = regrade(tried, decided, subs).table;
    const same = gradedColumns.every((name) => before[name].length === 0 || isSame(before[name], after[name]));
    if (same || decimals === 6) return { table: tried, roundedColumns: { ...rounded, airmass: decimals } };
  }
}

const roundAll = (column: ArrayLike<number>, decimals: number) =>
  Float64Array.from(column, (value) => Number(value.toFixed(decimals)));
const isSame = (a: ArrayLike<number | string>, b: ArrayLike<number | string>) =>
  Array.from(a).every((value, i) => Object.is(value, b[i]));

function privacyWords(
  withSite: boolean,
  withPaths: boolean,
  rounded: { readonly [column: string]: number },
  rerun: readonly string[],
): string[] {
  const columns = Object.entries(rounded).map(([name, decimals]) => `${name} (${decimals})`);
  return [
    withSite
      ? "The observer's place: as measured, as was asked for."
      : `The observer's place: these columns are rounded to so many decimals: ${columns.join(", ")}; coordinates in notebook parameters, in notes and of site and targets in summary.json to 0.1 degree, its height to 100 m. From times and many rounded values together the place can still be told to some kilometres.`,
    withPaths
      ? "Paths: as they are, as was asked for."
      : "Paths: of absolute paths in notebooks, notes and decisions only the last part is kept; keep.txt, drop.txt and night.json are left out.",
    ...(rerun.length === 0
      ? []
      : [`Run again on what is in the bundle, so without pictures of subs: ${rerun.join(", ")}.`]),
    "Left out: the subs themselves, and report.html (nightyield triage makes it anew).",
    "Not changed: target names, times, file names, and whatever the notebooks print or draw. Look at them before you share.",
  ];
}
