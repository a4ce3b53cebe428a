import type TS from "typescript";
import ts from "../../notebook/typescript.js";
import { isLenient } from "./compiler-options.js";

/** Something the compiler will not accept. Lines and columns count from 1. */
export interface Problem {
  /** Undefined: in the cell itself. */
  readonly file?: string;
  readonly line: number;
  readonly column: number;
  readonly lengthChars: number;
  readonly code: number;
  readonly message: string;
}

/**
 * What is wrong with a file.
 * @param cellLength - for a cell: the length of the user's text; complaints about what was added behind it are dropped,
 *   but what is missing at its end is kept
 * @param isVariable - true for a name that an earlier cell made with `let` or `var`
 */
export function problemsIn(
  service: TS.LanguageService,
  file: string,
  cellLength = Number.POSITIVE_INFINITY,
): Problem[] {
  const found: Problem[] = [];
  const syntactic = service.getSyntacticDiagnostics(file);
  const semantic = syntactic.length > 0 ? [] : service.getSemanticDiagnostics(file);
  for (const diagnostic of [...syntactic, ...semantic]) {
    const { file: source, start, length = 1, code, category, messageText } = diagnostic;
    if (category !== ts.DiagnosticCategory.Error || isLenient(code) || source === undefined || start === undefined)
      continue;
    const behind = start >= cellLength;
    if (behind && semantic.length > 0) continue;
    const at = behind ? trimmedEnd(source.text, cellLength) : start;
    const { line, character } = ts.getLineAndCharacterOfPosition(source, at);
    found.push({
      ...(Number.isFinite(cellLength) ? {} : { file }),
      line: line + 1,
      column: character + 1,
      lengthChars: behind ? 1 : Math.min(length, cellLength - at),
      code,
      message: plainMessage(code, messageText),
    });
    // What follows a text that does not end is of no use.
    if (behind) break;
  }
  return found;
}

const trimmedEnd = (text: string, end: number) => text.slice(0, end).trimEnd().length;

function plainMessage(code: number, text: string | TS.DiagnosticMessageChain): string {
  const message = ts.flattenDiagnosticMessageText(text, "\n");
  // Names of earlier cells are imports to the compiler only.
  return code === 2632 ? message.replace(/because it is an import\.?/, "because it is not a variable.") : message;
}
