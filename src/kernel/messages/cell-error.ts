import { inspect, types } from "node:util";
import { CompileError } from "../engine/compile-error.js";
import type { StackLines } from "../engine/stack-lines.js";

/** An error as the protocol has it. */
export interface CellError {
  readonly ename: string;
  readonly evalue: string;
  readonly traceback: readonly string[];
}

/** What a cell ends with when it is interrupted; the name is the one clients know. */
export class Interrupted extends Error {
  override readonly name = "KeyboardInterrupt";
  constructor() {
    super("The cell was interrupted");
  }
}

/** What a client is told of something that was thrown. */
export function cellError(thrown: unknown, stackLines: StackLines): CellError {
  if (thrown instanceof CompileError) return { ename: thrown.name, evalue: thrown.message, traceback: thrown.report };
  if (isInterruption(thrown)) {
    const { name, message } = new Interrupted();
    return { ename: name, evalue: message, traceback: [`${name}: ${message}`] };
  }
  if (!isError(thrown)) {
    const evalue = typeof thrown === "string" ? thrown : inspect(thrown, { depth: 2 });
    return { ename: "Thrown", evalue, traceback: [`Thrown: ${evalue}`] };
  }
  const ename = String(thrown.name || "Error");
  const evalue = String(thrown.message);
  const traceback = [`${ename}: ${evalue}`, ...stackLines.frames(String(thrown.stack))];
  for (let cause = thrown.cause, depth = 0; cause !== undefined && depth < 8; depth++) {
    if (!isError(cause)) {
      traceback.push(`Caused by: ${inspect(cause, { depth: 1 })}`);
      break;
    }
    traceback.push(`Caused by: ${cause.name}: ${cause.message}`, ...stackLines.frames(String(cause.stack)));
    cause = cause.cause;
  }
  if (thrown instanceof AggregateError)
    for (const each of thrown.errors.slice(0, 8)) traceback.push(`  also: ${String(each)}`);
  return { ename, evalue, traceback };
}

const isError = (thrown: unknown): thrown is Error => thrown instanceof Error || types.isNativeError(thrown);
const isInterruption = (thrown: unknown) =>
  thrown instanceof Interrupted || (thrown as { code?: unknown } | null)?.code === "ERR_SCRIPT_EXECUTION_INTERRUPTED";
