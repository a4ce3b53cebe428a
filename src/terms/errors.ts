/** Where in a file something was found. */
export interface Place {
  readonly file: string;
  readonly offsetBytes: number;
  /** The keyword or the text of the header card, where the trouble is in one. */
  readonly card?: string;
}

/**
 * A file is not FITS, or not FITS that can be trusted. The message names the file, the byte and the remedy.
 * A night does not stop for it: the pipeline turns it into an `unreadable` row.
 */
export class FitsError extends SyntaxError {
  override readonly name = "FitsError";
  readonly at: Place;
  readonly problem: string;
  readonly remedy: string;

  constructor(at: Place, problem: string, remedy: string, cause?: unknown) {
    super(`Cannot read ${at.file} at byte ${at.offsetBytes}: ${problem}. ${remedy}`, { cause });
    this.at = at;
    this.problem = problem;
    this.remedy = remedy;
  }
}

/** The caller asked for something that makes no sense: a wrong flag, an unknown column. Command line: exit code 2. */
export class CallError extends TypeError {
  override readonly name = "CallError";
}

/** The call was right but the world said no: a folder that is not there, a full disk. Command line: exit code 3. */
export class CannotError extends Error {
  override readonly name = "CannotError";
}

/**
 * True for the errors whose message was written for the user and says what to do.
 * @example
 * ```ts
 * import { isExplained, openNight } from "nightyield";
 * try {
 *   await openNight("nowhere");
 * } catch (error) {
 *   console.log(isExplained(error));
 * }
 * ```
 */
export function isExplained(error: unknown): error is FitsError | CallError | CannotError {
  return error instanceof FitsError || error instanceof CallError || error instanceof CannotError;
}
