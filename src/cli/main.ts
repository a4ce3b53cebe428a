#!/usr/bin/env node
import { CallError, isExplained } from "../terms/errors.js";
import { apply } from "./apply.js";
import { bundle } from "./bundle.js";
import { causes } from "./causes.js";
import type { Command } from "./command.js";
import { exportNotebook } from "./export.js";
import { kernel } from "./kernel.js";
import { mark } from "./mark.js";
import { measure } from "./measure.js";
import { remaining } from "./remaining.js";
import { run as runNotebook } from "./run.js";
import { simulate } from "./simulate.js";
import { sublength } from "./sublength.js";
import { triage } from "./triage.js";
import { undo } from "./undo.js";
import { verify } from "./verify.js";
import { version } from "./version.js";

const commands: Readonly<Record<string, Command>> = {
  triage,
  measure,
  causes,
  simulate,
  mark,
  sublength,
  remaining,
  apply,
  undo,
  export: exportNotebook,
  run: runNotebook,
  kernel,
  bundle,
  verify,
};

function overview(): string {
  const lines = Object.values(commands).map(({ usage, summary }) => `  nightyield ${usage}\n      ${summary}`);
  return `nightyield ${version()}: which subs to keep, what spoiled the others, what to change next time\n\n${lines.join("\n")}\n
Every command: --help with a worked example.
Exit codes: 0 done, 1 done but something needs attention, 2 wrong call, 3 could not do it.
Subs are read and never altered; only apply --move-to moves them, and undo takes that back.`;
}

async function run(args: readonly string[]): Promise<number> {
  const [name, ...rest] = args;
  if (name === undefined || name === "--help" || name === "-h" || name === "help") {
    console.log(overview());
    return name === undefined ? 2 : 0;
  }
  if (name === "--version") {
    console.log(version());
    return 0;
  }
  const command = Object.hasOwn(commands, name) ? commands[name] : undefined;
  if (command === undefined)
    throw new CallError(`There is no command '${name}'. Commands: ${Object.keys(commands).join(", ")}`);
  if (rest.includes("--help") || rest.includes("-h")) {
    console.log(`nightyield ${command.usage}\n\n${command.help.trim()}`);
    return 0;
  }
  return command.run(rest);
}

// Whatever is written is written whole (write-whole.ts), so stopping at once leaves nothing half-written.
for (const [signal, code] of [
  ["SIGINT", 130],
  ["SIGTERM", 143],
] as const)
  process.on(signal, () => {
    process.stderr.write("\nstopped; nothing was changed in the folders of subs\n");
    process.exit(code);
  });

try {
  process.exitCode = await run(process.argv.slice(2));
} catch (error) {
  const explained = isExplained(error);
  console.error(explained ? error.message : (error as Error).stack);
  if (!explained) console.error("This is a fault of nightyield, not of your files. Nothing was changed.");
  process.exitCode = error instanceof CallError ? 2 : 3;
}
