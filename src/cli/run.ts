import { basename, dirname, resolve } from "node:path";
import type { Json } from "../notebook/notebook-shape.js";
import type { CellProgress } from "../notebook/run-notebook.js";
import { writeWhole } from "../read/write-whole.js";
import { CallError } from "../terms/errors.js";
import { type Command, flags } from "./command.js";

const usage = "run NOTEBOOK [--set NAME=VALUE]... [--out FILE] [--go-on]";
const options = { out: { type: "string" }, "go-on": { type: "boolean" } } as const;

/** A notebook executed from top to bottom, without a notebook program. */
export const run: Command = {
  usage,
  summary: "run a notebook from top to bottom in this program's own kernel, with other parameters if you like",
  help: `
Runs every code cell in a fresh kernel and writes the notebook with its outputs to nightyield-out/<its name> below the
current folder, or to FILE. Paths inside the notebook start at the notebook's own folder. NOTEBOOK is not changed.

  --set NAME=VALUE   another value for a parameter: a name that the cell tagged 'parameters' declares. VALUE is JSON
                     if it can be read as JSON (12, true, [1,2], "text"), else text. Once for each parameter
  --out FILE         where to write; may be NOTEBOOK itself
  --go-on            go on behind a cell that fails; without it the run stops there

Exit code 1: with --go-on some cells failed. 3: the run stopped at a cell. The notebook is written in both cases.

Example: the triage notebook on your own folder:
  nightyield run notebooks/triage.ipynb --set folder=/card/2026-03-14 --out march14.ipynb`,
  async run(args) {
    const { rest, parameters } = takeParameters(args);
    const { values, positionals } = flags(rest, options, usage);
    if (positionals.length !== 1) throw new CallError(`Give one notebook. Usage: nightyield ${usage}`);
    const path = resolve(positionals[0]!);
    const out = resolve(values.out ?? `nightyield-out/${basename(path)}`);
    const { readNotebook } = await import("../notebook/read-notebook.js");
    const notebook = readNotebook(path);
    // The kernel's sockets are loaded only here: other commands start faster without them.
    const { runNotebook } = await import("../notebook/run-notebook.js");
    const { writeNotebook } = await import("../notebook/write-notebook.js");
    const ran = await runNotebook(notebook, {
      folder: dirname(path),
      now: () => new Date(),
      parameters,
      goOn: values["go-on"] === true,
      onCell: cellProgress(process.stderr),
    });
    writeWhole(out, writeNotebook(ran.notebook));
    console.log(`Notebook: ${out}`);
    for (const { index, ename, evalue } of ran.failed)
      console.error(`attention: cell ${index + 1} failed: ${ename}: ${evalue}`);
    if (!ran.complete) console.error("The cells behind it were not run; with --go-on they would be");
    return ran.complete ? Math.min(ran.failed.length, 1) : 3;
  },
};

/** Takes every `--set NAME=VALUE` out of the arguments. */
export function takeParameters(args: readonly string[]): { rest: string[]; parameters: Record<string, Json> } {
  const rest: string[] = [];
  const parameters: Record<string, Json> = {};
  for (let i = 0; i < args.length; i++) {
    const arg = args[i]!;
    if (arg !== "--set" && !arg.startsWith("--set=")) {
      rest.push(arg);
      continue;
    }
    const text = arg === "--set" ? args[++i] : arg.slice("--set=".length);
    const [, name, value] = /^([\p{ID_Start}$_][\p{ID_Continue}$]*)=([\s\S]*)$/u.exec(text ?? "") ?? [];
    if (name === undefined || value === undefined)
      throw new CallError(`--set is '${text ?? ""}', expected NAME=VALUE, for example --set purpose=detail`);
    if (Object.hasOwn(parameters, name)) throw new CallError(`--set gives ${name} twice`);
    parameters[name] = jsonOrText(value);
  }
  return { rest, parameters };
}

function jsonOrText(value: string): Json {
  try {
    return JSON.parse(value);
  } catch {
    return value;
  }
}

/** One line a cell: on a terminal it stands while the cell runs and then gets its time. */
export function cellProgress(stream: NodeJS.WriteStream): (progress: CellProgress) => void {
  let started = performance.now();
  return ({ state, number, total, source }) => {
    const terminal = stream.isTTY === true;
    const code = source.split("\n").find((line) => !/^\s*(?:\/\/.*)?$/.test(line)) ?? "";
    const line = `cell ${number} of ${total}: ${code.trim().slice(0, 60)}`;
    if (state === "started") {
      started = performance.now();
      if (terminal) stream.write(line);
      return;
    }
    const took = `${((performance.now() - started) / 1000).toFixed(1)} s`;
    stream.write(`${terminal ? "\r\x1b[2K" : ""}${line}  ${state === "failed" ? "FAILED, " : ""}${took}\n`);
  };
}
