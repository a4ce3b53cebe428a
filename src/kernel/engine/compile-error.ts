import type { Problem } from "./problems.js";

/** A cell does not compile; it has not run. */
export class CompileError extends Error {
  override readonly name = "TypeScriptError";
  readonly problems: readonly Problem[];
  /** One entry a problem: place, message and the line with a mark below. */
  readonly report: readonly string[];

  constructor(problems: readonly Problem[], code: string, label: string) {
    const first = problems[0]!;
    super(`${first.message} (line ${first.line}, column ${first.column})`);
    this.problems = problems;
    const lines = code.split(/\r?\n/);
    this.report = problems.map((problem) => {
      const { file, line, column, lengthChars, code: number, message } = problem;
      const head = `${file ?? label}:${line}:${column} - error TS${number}: ${message}`;
      const text = file === undefined ? lines[line - 1] : undefined;
      if (text === undefined) return head;
      const marks = Math.max(1, Math.min(lengthChars, text.length - column + 1));
      return `${head}\n\n    ${text}\n    ${text.slice(0, column - 1).replace(/[^\t]/g, " ")}${"~".repeat(marks)}\n`;
    });
  }
}
