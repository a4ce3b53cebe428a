import { resolve } from "node:path";
import { type Applied, applyVerdicts, type Run, resumeApply } from "../act/apply.js";
import type { How } from "../act/journal.js";
import { CallError } from "../terms/errors.js";
import { actGently } from "./act-gently.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";
import { progressOn } from "./progress.js";

const usage =
  "apply DIR (--copy-to|--move-to|--link-to) DEST [--drops] [--flat] [--subs FOLDER], or: apply --resume JOURNAL";
const options = {
  "copy-to": { type: "string" },
  "move-to": { type: "string" },
  "link-to": { type: "string" },
  drops: { type: "boolean" },
  flat: { type: "boolean" },
  subs: { type: "string" },
  resume: { type: "string" },
} as const;

const hows: readonly How[] = ["copy", "move", "link"];
const doneWords = { copy: "copied to", move: "moved to", link: "linked in" } as const;

/** Acts on the verdicts. */
export const apply: Command = {
  usage,
  summary: "copy, move or link the subs to stack into a folder, with a journal that undo takes back",
  help: `
Takes the subs with the verdict keep or borderline (and your own decisions, see mark) from the triage output DIR to the
folder DEST, with the folders they were in. Each sub is verified by the SHA-256 of all its bytes; none is altered, and no
file that is there already is replaced: the same content is left as it is, another content makes the sub's name name-2.

  --copy-to DEST   copies; works with write-protected cards
  --move-to DEST   moves; to another disk by copying, verifying and only then removing
  --link-to DEST   hard links, which take no room; symbolic links to another disk. A program that writes into a linked
                   sub writes into your sub: copy for such programs
  --drops          the dropped subs as well: kept ones into DEST/keep, dropped ones into DEST/drop
  --flat           all into one folder
  --subs FOLDER    the folder of the subs is here now, for example when a card is mounted elsewhere
  --resume JOURNAL finish an interrupted run; the same call again does it, too

A journal in DIR/journals is written first. Ctrl-C, a full disk or a power cut leave every sub whole and the journal
ready: the same call goes on, nightyield undo takes back.

Example: the good subs of a night side by side for a stacking program:
  nightyield apply out/march14 --copy-to stack/march14 --flat`,
  async run(args) {
    const { values, positionals } = flags(args, options, usage);
    const chosen = hows.filter((how) => values[`${how}-to`] !== undefined);
    const { resume, drops, flat, subs } = values;
    const acting = (act: (run: Run) => Promise<Applied>) =>
      actGently(async (signal) => {
        const progress = progressOn(process.stderr, "applying");
        const onProgress = (done: number, total: number) => progress.step(done, total);
        const applied = await act({ atUtc: new Date().toISOString(), signal, onProgress });
        progress.end();
        return told(applied);
      });
    if (resume !== undefined) {
      if (positionals.length > 0 || chosen.length > 0)
        throw new CallError(`--resume takes a journal and nothing else. Usage: nightyield ${usage}`);
      return acting((run) => resumeApply(resume, run));
    }
    const how = chosen[0];
    if (positionals.length !== 1 || chosen.length !== 1 || how === undefined)
      throw new CallError(
        `Give one triage output and one of --copy-to, --move-to, --link-to. Usage: nightyield ${usage}`,
      );
    const dest = values[`${how}-to`]!;
    if (dest === "") throw new CallError(`--${how}-to needs a folder. Usage: nightyield ${usage}`);
    const request = { how, dest: resolve(dest), drops: drops === true, flat: flat === true };
    return acting((run) => applyVerdicts(positionals[0]!, { ...request, ...(subs !== undefined && { subs }) }, run));
  },
};

/** Says what was done; gives the exit code. */
function told(applied: Applied): number {
  const { how, dest, done, alreadyThere, resumed, stopped, notes, attention, journal } = applied;
  const again = resumed ? " (an interrupted run was finished)" : "";
  if (stopped === null) console.log(`${count(done, "sub")} ${doneWords[how]} ${dest}${again}`);
  if (alreadyThere > 0) console.log(`${alreadyThere} left where they are: the same content is there already`);
  for (const note of notes) console.log(note);
  for (const line of attention) console.error(`attention: not touched: ${line}`);
  // Where everything was there already, there is nothing to take back.
  if (journal !== null && (done > 0 || stopped !== null)) {
    console.log(`Journal: ${journal}`);
    console.log(`To take it back: nightyield undo ${quoted(journal)}`);
  }
  if (stopped !== null) {
    console.error(
      `Stopped after ${count(done, "sub")}: ${stopped}. Every sub is whole. Go on with: nightyield apply --resume ${quoted(journal!)}`,
    );
    return 3;
  }
  return attention.length === 0 ? 0 : 1;
}

const count = (n: number, what: string) => `${n} ${what}${n === 1 ? "" : "s"}`;
const quoted = (path: string) => (/^[\w./:\\-]+$/.test(path) ? path : `"${path}"`);
