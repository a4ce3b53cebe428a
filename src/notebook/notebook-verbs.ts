import type { BundleManifest } from "./bundle-manifest.js";
import type { HtmlExport } from "./export-html.js";
import type { BundleOptions } from "./make-bundle.js";
import type { Notebook } from "./notebook-shape.js";
import type { NotebookRun, RunOptions } from "./run-notebook.js";
import type { VerifyCheck, VerifyOptions } from "./verify-bundle.js";

// What notebooks are run, shown and shared by needs a compiler and sockets. Analyses that only import the library should
// not wait for these, so they are loaded by the first call.

/**
 * Runs a notebook from top to bottom in a kernel of its own, which is ended in every case. All outputs are made anew.
 * @param notebook - as {@link readNotebook} gives it
 * @param options - `folder`: where the kernel runs and relative paths start; `now`: the date of its messages;
 * `parameters`: other values for what the cell tagged `parameters` declares
 * @returns the notebook with its outputs, and the cells that failed
 * @throws CallError when a parameter is wrong or the notebook is in another language than TypeScript or JavaScript;
 * CannotError when the kernel does not start or ends before the notebook does
 * @example
 * ```ts
 * import { readNotebook, runNotebook } from "nightyield";
 * const { notebook, failed } = await runNotebook(readNotebook("first.ipynb"), { folder: ".", now: () => new Date() });
 * console.log(notebook.cells.length, "cells,", failed.length, "failed");
 * ```
 */
export const runNotebook = async (notebook: Notebook, options: RunOptions): Promise<NotebookRun> =>
  (await import("./run-notebook.js")).runNotebook(notebook, options);

/**
 * A notebook as one HTML page that opens without a network, or as Markdown with its pictures in it.
 * @param notebook - with its outputs
 * @param to - `html` needs a title; scripts and links to elsewhere in the outputs are taken out
 * @returns the text of the file
 * @example
 * ```ts
 * import { exportNotebook, readNotebook } from "nightyield";
 * const page = await exportNotebook(readNotebook("first.ipynb"), { to: "html", title: "14 March", version: "" });
 * console.log(page.length > 1000);
 * ```
 */
export async function exportNotebook(
  notebook: Notebook,
  to: { readonly to: "md" } | ({ readonly to: "html" } & HtmlExport),
): Promise<string> {
  if (to.to === "md") return (await import("./export-markdown.js")).exportMarkdown(notebook);
  return (await import("./export-html.js")).exportHtml(notebook, to);
}

/**
 * Packs a folder that `nightyield triage` wrote so that others can check it: notebooks with their outputs, the frame
 * table, your decisions, parameters, limits, versions and the hash of each sub, but not the subs. The observer's place
 * is coarsened and paths are cut to file names unless asked for.
 * @param folder - a result of triage
 * @param options - `version`: for the record; `withSite`, `withPaths`: keep these as they are; `now`: notebooks that read
 * this folder are run again on what goes into the bundle
 * @returns the bytes of the zip, and its manifest, which lists what is in it
 * @throws CallError when the folder is no result of triage
 * @example
 * ```ts
 * import { makeBundle } from "nightyield";
 * const { zip, manifest } = await makeBundle("nightyield-out/march14", { version: "mine" });
 * console.log(zip.length, "bytes:", manifest.contents.map(({ name }) => name).join(", "));
 * ```
 */
export const makeBundle = async (
  folder: string,
  options: BundleOptions,
): Promise<{ zip: Uint8Array; manifest: BundleManifest }> =>
  (await import("./make-bundle.js")).makeBundle(folder, options);

/**
 * Does everything in a bundle once more and compares. A bundle's notebooks are programs: verify only what comes from
 * someone you trust.
 * @param zip - the bytes of the bundle
 * @param options - `file`: its name, for messages; `subs`: folders with the subs, which are then measured again
 * @returns one entry for each thing that was checked; everything agrees when none has `differences`
 * @throws CannotError when it is no bundle, or the subs cannot be read
 * @example
 * ```ts
 * import { makeBundle, verifyBundle } from "nightyield";
 * const { zip } = await makeBundle("nightyield-out/march14", { version: "mine" });
 * const checks = await verifyBundle(zip, { file: "march14.zip", version: "mine", now: () => new Date() });
 * for (const { what, compared, differences } of checks) console.log(what, compared, differences.length);
 * ```
 */
export const verifyBundle = async (zip: Uint8Array, options: VerifyOptions): Promise<VerifyCheck[]> =>
  (await import("./verify-bundle.js")).verifyBundle(zip, options);
