import { readFileSync } from "node:fs";
import { basename, resolve } from "node:path";
import { CallError } from "../terms/errors.js";
import { type Command, flags } from "./command.js";
import { givenFrom, nightFlags } from "./night-flags.js";
import { progressOn } from "./progress.js";
import { takeParameters } from "./run.js";
import { version } from "./version.js";

const usage =
  "verify FILE.zip [--subs FOLDER] [--site LAT,LON[,HEIGHT_M]] [--site-file FILE] [--target NAME|RA,DEC] [--set NAME=VALUE]...";
const { site, target, "site-file": siteFile } = nightFlags;
const options = { subs: { type: "string" }, site, target, "site-file": siteFile } as const;
const mostShown = 20;

/** Everything in a bundle once more, compared. */
export const verify: Command = {
  usage,
  summary: "do everything in a bundle once more on this machine and say what differs",
  help: `
Compares, value by value: the files with their hashes; each cell of the frame table, each part of summary and notebooks
with what it was when the bundle was made, so that one changed number is named; verdicts, symptoms, weights and groups
graded again from the frame table; with --subs every sub with its hash and every column measured again; the outputs of
the notebooks run again.
Numbers may differ by 1 in 1,000,000 (or 1e-9), columns that the bundle holds rounded by half a unit of the last decimal
besides; texts must be the same. Counters of cells are not compared.
A bundle's notebooks are programs: run them only if you trust who made them.

  --subs FOLDER      the subs, laid out as they were; also given to notebooks with a parameter named folder
  --site, --target, --site-file   as they were given to triage, where the headers lack them
  --set NAME=VALUE   another value for a parameter of the notebooks

Exit code 1: something differs. It is named with file, column, and both values.

Example:
  nightyield verify march14.zip --subs /card/2026-03-14`,
  async run(args) {
    const { rest, parameters } = takeParameters(args);
    const { values, positionals } = flags(rest, options, usage);
    if (positionals.length !== 1) throw new CallError(`Give one bundle. Usage: nightyield ${usage}`);
    const path = positionals[0]!;
    let zip: Uint8Array;
    try {
      zip = readFileSync(path);
    } catch (cause) {
      throw new CallError(`Cannot read the bundle ${path}: ${(cause as Error).message}`, { cause });
    }
    const { verifyBundle } = await import("../notebook/verify-bundle.js");
    const progress = progressOn(process.stderr, "measuring");
    const checks = await verifyBundle(zip, {
      file: basename(path),
      version: version(),
      now: () => new Date(),
      parameters,
      ...(values.subs !== undefined && { subs: [resolve(values.subs)] }),
      ...givenFrom(values),
      onProgress: (done, total) => progress.step(done, total),
    });
    progress.end();
    let differ = 0;
    for (const { what, compared, differences, notes } of checks) {
      differ += differences.length;
      console.log(`${differences.length === 0 ? "same    " : "DIFFERS "} ${what}: ${compared} values compared`);
      for (const note of notes) console.log(`  ${note}`);
      for (const { where, row, column, bundled, found, words } of differences.slice(0, mostShown))
        console.error(`  ${where}, ${row}, ${column}: ${words ?? `${bundled} in the bundle, ${found} now`}`);
      if (differences.length > mostShown) console.error(`  and ${differences.length - mostShown} more`);
    }
    const differing = differ === 1 ? "One value differs." : `${differ} values differ.`;
    console.log(differ === 0 ? "Everything that was compared agrees." : differing);
    return differ === 0 ? 0 : 1;
  },
};
