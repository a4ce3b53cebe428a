import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { KernelCommand } from "./kernel-process.js";
import { type Json, type Notebook, tagsOf } from "./notebook-shape.js";
import { parametersOf } from "./parameters.js";
import { type NotebookRun, runNotebook } from "./run-notebook.js";
import type { ZipEntry } from "./zip.js";

/** Parameters that say where the subs, or results of triage, are. */
export const folderNames = ["folder", "folders", "nights", "subs"];

/** What the parameters of a notebook are at the end, as written: the defaults, or what was injected. */
export function declared(notebook: Notebook): Record<string, string> {
  const values: Record<string, string> = {};
  for (const tag of ["parameters", "injected-parameters"]) {
    const cells = notebook.cells.map((cell) => ({
      ...cell,
      metadata: { tags: tagsOf(cell).includes(tag) ? ["parameters"] : [] },
    }));
    for (const { name, default: value } of parametersOf({ ...notebook, cells })) values[name] = value;
  }
  return values;
}

/** True for a notebook that reads the result of triage in whose folder it lies: what a bundle holds is all it needs. */
export function readsItsFolder(notebook: Notebook): boolean {
  const values = declared(notebook);
  return folderNames.some((name) => values[name] !== undefined && /^\[?\s*["'`]\.["'`]\s*\]?$/.test(values[name]));
}

/** The values that were injected, to be injected again; those that are no plain JSON are left out. */
export function injectedValues(notebook: Notebook): Record<string, Json> {
  const cells = notebook.cells.filter((cell) => !tagsOf(cell).includes("parameters"));
  const values: Record<string, Json> = {};
  for (const [name, text] of Object.entries(declared({ ...notebook, cells })))
    try {
      values[name] = JSON.parse(text) as Json;
    } catch {
      // Written by hand: it stays as it is in the notebook.
    }
  return values;
}

/** Runs a notebook in a folder of its own that holds the files of a bundle. */
export async function runAmong(
  entries: readonly ZipEntry[],
  notebook: Notebook,
  options: {
    readonly now: () => Date;
    readonly parameters?: { readonly [name: string]: Json };
    readonly kernel?: KernelCommand;
  },
): Promise<NotebookRun & { readonly folder: string }> {
  const folder = mkdtempSync(join(tmpdir(), "nightyield-bundle-"));
  try {
    for (const { name, bytes } of entries) if (!name.includes("/")) writeFileSync(join(folder, name), bytes);
    return { ...(await runNotebook(notebook, { folder, goOn: true, ...options })), folder };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
