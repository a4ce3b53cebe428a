import ts from "../../notebook/typescript.js";
import { compilerOptions } from "./compiler-options.js";

const unterminatedTemplate = 1160;
const unterminatedComment = 1010;

/** Whether a text can be run as it is, wants another line, or is wrong whatever follows. */
export function completeness(code: string): "complete" | "incomplete" | "invalid" {
  const { diagnostics = [] } = ts.transpileModule(code, {
    fileName: "cell.ts",
    reportDiagnostics: true,
    compilerOptions: { ...compilerOptions, sourceMap: false },
  });
  const first = diagnostics.find(({ category }) => category === ts.DiagnosticCategory.Error);
  if (first === undefined) return "complete";
  const open = first.code === unterminatedTemplate || first.code === unterminatedComment;
  return open || (first.start ?? 0) >= code.trimEnd().length ? "incomplete" : "invalid";
}
