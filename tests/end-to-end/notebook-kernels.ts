import { fileURLToPath } from "node:url";
import { type KernelCommand, ownKernel } from "../../src/notebook/kernel-process.js";
import type { CodeCell, Notebook } from "../../src/notebook/notebook-shape.js";

const tslabProgram = fileURLToPath(new URL("../../node_modules/tslab/bin/tslab", import.meta.url));
/** A second kernel, written by others: what holds for both is no habit of ours. */
export const tslab: KernelCommand = {
  name: "tslab",
  argv: [process.execPath, tslabProgram, "kernel", "--config-path", "{connection_file}"],
  interruptMode: "signal",
};
export const own: KernelCommand = ownKernel();

export function code(id: string, source: string, ...tags: string[]): CodeCell {
  const metadata = tags.length > 0 ? { tags } : {};
  return { cell_type: "code", id, metadata, source, outputs: [], execution_count: null };
}
export const notebookOf = (...cells: Notebook["cells"]): Notebook => ({
  nbformat: 4,
  nbformat_minor: 5,
  metadata: {},
  cells,
});

/** True while a process lives. */
export function lives(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch {
    return false;
  }
}
