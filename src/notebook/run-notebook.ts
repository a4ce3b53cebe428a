import { CallError } from "../terms/errors.js";
import { type Execution, type KernelClient, startKernel } from "./kernel-client.js";
import { type KernelCommand, ownKernel } from "./kernel-process.js";
import {
  type CodeCell,
  isObject,
  type Json,
  type JsonObject,
  type Notebook,
  type Output,
  tagsOf,
} from "./notebook-shape.js";

/** A code cell that starts or has ended. */
export interface CellProgress {
  readonly state: "started" | "done" | "failed";
  /** Number of the code cell among those that run, from 1. */
  readonly number: number;
  readonly total: number;
  /** Position in the notebook, from 0. */
  readonly index: number;
  readonly source: string;
}

export interface RunOptions {
  /** The folder in which the kernel runs; relative paths in the notebook start there. */
  readonly folder: string;
  /** The date of the messages to the kernel. */
  readonly now: () => Date;
  /** Values for the notebook's parameters, see `withParameters`. */
  readonly parameters?: { readonly [name: string]: Json };
  /** Go on behind a cell that failed; without it the run stops there. */
  readonly goOn?: boolean;
  /** Another kernel than this project's own. */
  readonly kernel?: KernelCommand;
  readonly onCell?: (progress: CellProgress) => void;
  /** Stops the run: the cell that runs is interrupted and the run ends there. */
  readonly signal?: AbortSignal;
}

/** A cell that ended with an error. */
export interface FailedCell {
  /** Position in the notebook, from 0. */
  readonly index: number;
  readonly id: string;
  readonly ename: string;
  readonly evalue: string;
}

export interface NotebookRun {
  /** The notebook with its outputs; cells that did not run have none. */
  readonly notebook: Notebook;
  readonly failed: readonly FailedCell[];
  /** True when every code cell ran. */
  readonly complete: boolean;
}

/**
 * Runs a notebook from top to bottom in a kernel of its own, which is ended in every case. Nothing of an earlier run is
 * kept: all outputs are made anew. No times are written, so that the same results give the same bytes. Of the tags,
 * `raises-exception` (an error is expected) and `skip-execution` are honoured.
 * @throws CallError when a parameter is wrong or the notebook is of another language than TypeScript or JavaScript;
 * CannotError when the kernel does not start or ends before the notebook does
 */
export async function runNotebook(notebook: Notebook, options: RunOptions): Promise<NotebookRun> {
  refuseOtherLanguages(notebook);
  const { parameters = {}, kernel = ownKernel(), folder, now } = options;
  // The compiler that reads the parameters' cell takes a while to load.
  const { withParameters } = await import("./parameters.js");
  const { cells, ...rest } = withParameters(notebook, parameters);
  const client = await startKernel({ kernel, folder, now });
  const stop = () => void client.interrupt();
  options.signal?.addEventListener("abort", stop);
  try {
    const { executed, failed, complete } = await runCells(cells, client, options);
    const metadata = { ...rest.metadata, ...languageOf(client) };
    return { notebook: { ...rest, metadata, nbformat_minor: 5, cells: executed }, failed, complete };
  } finally {
    options.signal?.removeEventListener("abort", stop);
    await client.shutdown();
  }
}

async function runCells(cells: Notebook["cells"], client: KernelClient, { goOn, onCell, signal }: RunOptions) {
  const total = cells.filter(runs).length;
  const results = new Map<number, { outputs: readonly Output[]; executionCount: number | null }>();
  const failed: FailedCell[] = [];
  for (const [index, cell] of cells.entries()) {
    if (!runs(cell)) continue;
    if (signal?.aborted || (failed.length > 0 && goOn !== true)) break;
    const progress = { number: results.size + 1, total, index, source: cell.source };
    onCell?.({ state: "started", ...progress });
    const result = await executeCell(client, cell.source, goOn === true);
    results.set(index, result);
    const expected = tagsOf(cell).includes("raises-exception");
    const good = expected || (result.status === "ok" && result.ename === "");
    if (!good) failed.push({ index, id: cell.id, ename: result.ename || result.status, evalue: result.evalue });
    onCell?.({ state: good ? "done" : "failed", ...progress });
  }
  // Only now: a later cell may have changed what an earlier one shows.
  const executed = cells.map((cell, index) => {
    if (cell.cell_type !== "code") return cell;
    const result = results.get(index);
    return { ...cell, outputs: [...(result?.outputs ?? [])], execution_count: result?.executionCount ?? null };
  });
  return { executed, failed, complete: results.size === total };
}

/** Some kernels refuse, for a moment, what comes behind a failing cell: they take it for a request that was waiting. */
async function executeCell(client: KernelClient, source: string, goOn: boolean): Promise<Execution> {
  for (let attempt = 1; ; attempt++) {
    const result = await client.execute(source, { stopOnError: !goOn });
    if (result.status !== "aborted" || !goOn || attempt === 5) return result;
    await new Promise((done) => setTimeout(done, 150));
  }
}

/** Cells without code are not sent, as a notebook program would not. */
const runs = (cell: Notebook["cells"][number]): cell is CodeCell =>
  cell.cell_type === "code" && cell.source.trim() !== "" && !tagsOf(cell).includes("skip-execution");

function languageOf({ info }: KernelClient): JsonObject {
  const { language_info: language } = info;
  return isObject(language) && typeof language.name === "string" ? { language_info: language as JsonObject } : {};
}

function refuseOtherLanguages({ metadata }: Notebook): void {
  const { language_info: language, kernelspec } = metadata as { readonly [name: string]: unknown };
  const name =
    (isObject(kernelspec) && typeof kernelspec.language === "string" && kernelspec.language) ||
    (isObject(language) && typeof language.name === "string" && language.name) ||
    "typescript";
  if (!/^(?:typescript|javascript)$/i.test(name))
    throw new CallError(`The notebook is written in ${name}; only TypeScript and JavaScript can be run`);
}
