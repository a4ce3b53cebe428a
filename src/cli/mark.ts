import { resolve } from "node:path";
import { markSubs } from "../act/mark.js";
import { readNight, unmatchedNote } from "../act/night-files.js";
import { CallError } from "../terms/errors.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";

const usage = "mark DIR FILE... (--as keep|drop [--because TEXT] | --clear)";
const options = { as: { type: "string" }, because: { type: "string" }, clear: { type: "boolean" } } as const;

/** The user's own verdicts. */
export const mark: Command = {
  usage,
  summary: "decide yourself which subs to keep or drop; your decision wins and survives later runs",
  help: `
Stores your decision in DIR/decisions.json, which no other command changes, and writes frames.ecsv, keep.txt, drop.txt
and weights.csv of the triage output DIR anew. report.html shows it after the next triage. FILE is a sub as named in the
table, its path, or its bare name where that is unique. Without FILE: lists your decisions.

  --as keep|drop   the decision
  --because TEXT   why; it goes into the note of the row
  --clear          takes earlier decisions back: the graded verdict counts again

Example:
  nightyield mark out/march14 sub_0042.fits sub_0043.fits --as drop --because "neighbour's light"`,
  async run(args) {
    const { values, positionals } = flags(args, options, usage);
    const [folder, ...names] = positionals;
    if (folder === undefined) throw new CallError(`Give a triage output. Usage: nightyield ${usage}`);
    if (names.length === 0 && values.as === undefined && values.clear !== true) return list(resolve(folder));
    if (names.length === 0) throw new CallError(`Give at least one sub. Usage: nightyield ${usage}`);
    const as = values.clear === true ? "clear" : values.as;
    if ((values.clear === true) === (values.as !== undefined) || (as !== "keep" && as !== "drop" && as !== "clear"))
      throw new CallError(`Say --as keep, --as drop or --clear. Usage: nightyield ${usage}`);
    if (as === "clear" && values.because !== undefined)
      throw new CallError("--because goes with --as, not with --clear");
    const { marked, decisions, notes } = markSubs(resolve(folder), names, {
      as,
      ...(values.because !== undefined && { because: values.because }),
      atUtc: new Date().toISOString(),
    });
    const what = as === "clear" ? "as graded again" : `${as} by hand`;
    console.log(
      `${marked.length === 1 ? marked[0] : `${marked.length} subs`}: ${what}. Decisions in all: ${decisions.length}`,
    );
    console.log(
      "frames.ecsv, keep.txt, drop.txt and weights.csv are written anew; report.html will be by the next triage",
    );
    for (const note of notes) console.log(note);
    return 0;
  },
};

function list(folder: string): number {
  const { decisions, unmatched } = readNight(folder);
  if (decisions.length === 0) console.log("No decisions by hand");
  for (const { file, as, because } of decisions)
    console.log(`${as}  ${file}${because === undefined ? "" : `  ${because}`}`);
  if (unmatched.length > 0) console.log(unmatchedNote(unmatched));
  return 0;
}
