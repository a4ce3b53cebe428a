import { undoApply } from "../act/undo.js";
import { CallError } from "../terms/errors.js";
import { actGently } from "./act-gently.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";
import { progressOn } from "./progress.js";

const usage = "undo JOURNAL";

/** Takes back what apply did. */
export const undo: Command = {
  usage,
  summary: "take back what apply did, from its journal",
  help: `
Moved subs go back to their names with their times; copies and links that apply made are removed, when the original still
holds the same content. What was changed since is named and left as it is. When it is interrupted, call it again.

Example:
  nightyield undo out/march14/journals/2026-03-15T083000Z-move.jsonl`,
  async run(args) {
    const { positionals } = flags(args, {}, usage);
    if (positionals.length !== 1) throw new CallError(`Give one journal. Usage: nightyield ${usage}`);
    const journal = positionals[0]!;
    return actGently(async (signal) => {
      const progress = progressOn(process.stderr, "taking back");
      const onProgress = (done: number, total: number) => progress.step(done, total);
      const { undone, stopped, attention, nothingToDo } = await undoApply(journal, { signal, onProgress });
      progress.end();
      if (nothingToDo) console.log(`${journal} was taken back before; nothing to do`);
      else console.log(`${undone} ${undone === 1 ? "sub" : "subs"} taken back`);
      for (const line of attention) console.error(`attention: left as it is: ${line}`);
      if (stopped !== null) {
        console.error(`Stopped: ${stopped}. Every sub is whole. Go on with the same call`);
        return 3;
      }
      return attention.length === 0 ? 0 : 1;
    });
  },
};
