import { resolve } from "node:path";
import { writeWhole } from "../read/write-whole.js";
import { CallError } from "../terms/errors.js";
import { type Command, flags } from "./command.js";
import { progressOn } from "./progress.js";
import { version } from "./version.js";

const usage = "bundle DIR --out FILE.zip [--with-site] [--with-paths]";
const options = {
  out: { type: "string" },
  "with-site": { type: "boolean" },
  "with-paths": { type: "boolean" },
} as const;

/** A night's results in one file that someone else can check. */
export const bundle: Command = {
  usage,
  summary: "pack a night's results, without the subs, so that someone else can check them",
  help: `
Packs a folder that nightyield triage wrote: notebooks with their outputs, the frame table, your decisions, parameters,
limits, versions, and a hash of each sub. The subs themselves stay with you. manifest.json inside lists what is there.

The observer's place is coarsened, and of paths only file names are kept:
  --with-site   keep altitudes, azimuths and coordinates as they are
  --with-paths  keep absolute paths; they may hold your user name

Exit code 1: some subs were not found, so they have no hash.

Example:
  nightyield bundle out/march14 --out march14.zip
  nightyield verify march14.zip`,
  async run(args) {
    const { values, positionals } = flags(args, options, usage);
    if (positionals.length !== 1 || values.out === undefined)
      throw new CallError(`Give one triage output and --out FILE.zip. Usage: nightyield ${usage}`);
    const out = resolve(values.out);
    const { makeBundle } = await import("../notebook/make-bundle.js");
    const progress = progressOn(process.stderr, "hashing");
    const { zip, manifest } = await makeBundle(resolve(positionals[0]!), {
      version: version(),
      now: () => new Date(),
      withSite: values["with-site"] === true,
      withPaths: values["with-paths"] === true,
      onProgress: (done, total) => progress.step(done, total),
    });
    progress.end();
    writeWhole(out, zip);
    console.log(`Bundle: ${out} (${(zip.length / 1e6).toFixed(2)} MB)`);
    for (const { name, what, bytes } of manifest.contents) console.log(`  ${name}  ${what}, ${bytes} bytes`);
    console.log(`  hashes of ${manifest.subs.length} subs, not the subs`);
    for (const line of manifest.privacy) console.log(line);
    const lost = manifest.subsNotFound;
    if (lost.length === 0) return 0;
    console.error(
      `attention: ${lost.length} subs were not found and have no hash: ${lost.slice(0, 5).join(", ")}${lost.length > 5 ? " and more" : ""}`,
    );
    return 1;
  },
};
