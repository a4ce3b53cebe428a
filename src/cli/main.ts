#!/usr/bin/env node
import { CallError, isExplained } from "../terms/errors.js";
import type { Command } from "./command.js";
import { version } from "./version.js";

/** Each is loaded when it is called: a mark need not wait for what measures, nor the kernel for what plans. */
const commands: Readonly<Record<string, () => Promise<Command>>> = {
  triage: async () => (await import("./triage.js")).triage,
  measure: async () => (await import("./measure.js")).measure,
  causes: async () => (await import("./causes.js")).causes,
  simulate: async () => (await import("./simulate.js")).simulate,
  mark: async () => (await import("./mark.js")).mark,
  sublength: async () => (await import("./sublength.js")).sublength,
  remaining: async () => (await import("./remaining.js")).remaining,
  apply: async () => (await import("./apply.js")).apply,
  undo: async () => (await import("./undo.js")).undo,
  export: async () => (await import("./export.js")).exportNotebook,
  run: async () => (await import("./run.js")).run,
  kernel: async () => (await import("./kernel.js")).kernel,
  bundle: async () => (await import("./bundle.js")).bundle,
  verify: async () => (await import("./verify.js")).verify,
};

async function overview(): Promise<string> {
  const all = await Promise.all(Object.values(commands).map((load) => load()));
  const lines = all.map(({ usage, summary }) => `  nightyield ${usage}\n      ${summary}`);
  return `nightyield ${version()}: which subs to keep, what spoiled the others, what to change next time\n\n${lines.join("\n")}\n
Every command: --help with a worked example.
Exit codes: 0 done, 1 done but something needs attention, 2 wrong call, 3 could not do it.
Subs are read and never altered; only apply --move-to moves them, and undo takes that back.`;
}

async function run(args: readonly string[]): Promise<number> {
  const [name, ...rest] = args;
  if (name === undefined || name === "--help" || name === "-h" || name === "help") {
    console.log(await overview());
    return name === undefined ? 2 : 0;
  }
  if (name === "--version") {
    console.log(version());
    return 0;
  }
  const load = Object.hasOwn(commands, name) ? commands[name] : undefined;
  if (load === undefined)
    throw new CallError(`There is no command '${name}'. Commands: ${Object.keys(commands).join(", ")}`);
  const command = await load();
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
