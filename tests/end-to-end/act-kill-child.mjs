// One run of apply or undo in a process of its own, which the test kills. Says "go" when it starts to act.
import { writeSync } from "node:fs";
import { applyVerdicts } from "../../dist/act/apply.js";
import { undoApply } from "../../dist/act/undo.js";

const [what, ...args] = process.argv.slice(2);
writeSync(1, "go\n");
if (what === "undo") await undoApply(args[0], {});
else await applyVerdicts(args[0], { how: what, dest: args[1] }, { atUtc: args[2] });
