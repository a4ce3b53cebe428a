import { type ParseArgsConfig, parseArgs } from "node:util";
import { CallError } from "../terms/errors.js";

/** One command of the command line. `run` gives the exit code. */
export interface Command {
  /** Without the program's name. */
  readonly usage: string;
  readonly summary: string;
  /** What --help prints below the usage; holds one worked example. */
  readonly help: string;
  run(args: readonly string[]): Promise<number>;
}

type Options = NonNullable<ParseArgsConfig["options"]>;
type Values<T extends Options> = { [K in keyof T]?: T[K]["type"] extends "boolean" ? boolean : string };

/**
 * Flags and plain arguments.
 * @throws CallError when a flag is unknown or lacks its value
 */
export function flags<T extends Options>(
  args: readonly string[],
  options: T,
  usage: string,
): { values: Values<T>; positionals: string[] } {
  // A value such as "-33.9,18.4" starts with a dash, which the parser only takes behind "=".
  const joined: string[] = [];
  for (let i = 0; i < args.length; i++) {
    const flag = args[i]!;
    const next = args[i + 1];
    const takesValue = flag.startsWith("--") && options[flag.slice(2)]?.type === "string";
    if (takesValue && next !== undefined && /^-[\d.]/.test(next)) {
      joined.push(`${flag}=${next}`);
      i++;
    } else joined.push(flag);
  }
  try {
    const { values, positionals } = parseArgs({ args: joined, options, allowPositionals: true, strict: true });
    return { values: values as Values<T>, positionals };
  } catch (cause) {
    throw new CallError(`${(cause as Error).message}. Usage: nightyield ${usage}`, { cause });
  }
}

/** A whole number from a flag. */
export function wholeNumber(text: string, flag: string, min: number, max: number): number {
  const n = Number(text);
  if (!Number.isInteger(n) || n < min || n > max)
    throw new CallError(`--${flag} is '${text}', expected a whole number from ${min} to ${max}`);
  return n;
}
