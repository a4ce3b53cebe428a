import { readFileSync } from "node:fs";
import { CallError } from "../terms/errors.js";
import type { Notebook } from "./notebook-shape.js";
import { parseNotebook } from "./parse-notebook.js";

/**
 * Reads a notebook from disk.
 * @throws CallError when the file is not there or no notebook
 * @example
 * ```ts
 * import { readNotebook } from "nightyield";
 * console.log(readNotebook("first.ipynb").cells.length);
 * ```
 */
export function readNotebook(path: string): Notebook {
  let text: string;
  try {
    text = readFileSync(path, "utf8");
  } catch (cause) {
    throw new CallError(`Cannot read the notebook ${path}: ${(cause as Error).message}`, { cause });
  }
  return parseNotebook(text, path);
}
