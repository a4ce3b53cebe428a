import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { writeWhole } from "../read/write-whole.js";
import type { KernelCommand } from "./kernel-process.js";
import type { Json } from "./notebook-shape.js";
import { withParameters } from "./parameters.js";
import { readNotebook } from "./read-notebook.js";
import { type CellProgress, runNotebook } from "./run-notebook.js";
import { writeNotebook } from "./write-notebook.js";

export interface TriageNotebookOptions {
  /** The date of the messages to the kernel. */
  readonly now: () => Date;
  /** Values for other parameters of the notebook, such as `purpose`. */
  readonly parameters?: { readonly [name: string]: Json };
  /** Another kernel than this project's own. */
  readonly kernel?: KernelCommand;
  readonly onCell?: (progress: CellProgress) => void;
  /** Stops the run; what has been done until then is written. Five minutes when left out. */
  readonly signal?: AbortSignal;
}

const shipped = fileURLToPath(new URL("../../notebooks/triage.ipynb", import.meta.url));
const patienceMs = 300_000;

/**
 * Writes `triage.ipynb` into a folder that triage has written: the shipped notebook, executed on that folder's
 * frames.ecsv. No sub is measured again. It names its folder as ".", so that it stays right when the folder is moved.
 * @returns what the user should know, empty when all went well: a notebook that could not be run is written without
 * outputs, and nothing here makes a triage fail
 */
export async function writeTriageNotebook(folder: string, options: TriageNotebookOptions): Promise<string[]> {
  const { now, kernel, onCell, signal = AbortSignal.timeout(patienceMs) } = options;
  const path = join(folder, "triage.ipynb");
  const parameters = { folder: ".", ...options.parameters };
  try {
    const notebook = readNotebook(shipped);
    try {
      const ran = await runNotebook(notebook, {
        folder,
        now,
        parameters,
        signal,
        ...(kernel && { kernel }),
        ...(onCell && { onCell }),
      });
      writeWhole(path, writeNotebook(ran.notebook));
      const [failed] = ran.failed;
      return failed === undefined
        ? []
        : [`triage.ipynb stopped at cell ${failed.index + 1}: ${failed.ename}: ${failed.evalue}`];
    } catch (error) {
      writeWhole(path, writeNotebook(withParameters(notebook, parameters)));
      return [`triage.ipynb was written but not run: ${messageOf(error)}`];
    }
  } catch (error) {
    return [`triage.ipynb was not written: ${messageOf(error)}`];
  }
}

const messageOf = (error: unknown) => (error instanceof Error ? error.message : String(error));
