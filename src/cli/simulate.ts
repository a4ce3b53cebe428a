import { readFileSync } from "node:fs";
import { basename, join, resolve } from "node:path";
import { parseScenario } from "../simulate/scenario.js";
import { writeNights } from "../simulate/write-night.js";
import { CallError } from "../terms/errors.js";
import { type Command, flags, wholeNumber } from "./command.js";
import { progressOn } from "./progress.js";

const usage = "simulate SCENARIO --out DIR [--frames N] [--seed S]";
const options = { out: { type: "string" }, frames: { type: "string" }, seed: { type: "string" } } as const;

/** Nights with known truth, from a scenario file. */
export const simulate: Command = {
  usage,
  summary: "make nights with known truth from a scenario file",
  help: `
Reads a scenario (JSON; sample-data/README.md explains it) and writes DIR/nights/<night>/ with the frames and
DIR/truth/<night>.ecsv beside them. The same seed gives the same bytes on every machine.

  --out DIR     where to write
  --frames N    at most N frames a night, spread over it
  --seed S      another seed than the scenario's own

Example: the invented nights of sample-data once more, ten frames of each:
  nightyield simulate sample-data/scenarios/garden-autumn.json --out garden --frames 10`,
  async run(args) {
    const { values, positionals } = flags(args, options, usage);
    if (positionals.length !== 1 || values.out === undefined)
      throw new CallError(`Give one scenario file and --out DIR. Usage: nightyield ${usage}`);
    const path = positionals[0]!;
    let json: string;
    try {
      json = readFileSync(path, "utf8");
    } catch (cause) {
      throw new CallError(`Cannot read the scenario ${path}: ${(cause as Error).message}`, { cause });
    }
    const scenario = parseScenario(json, basename(path));
    const progress = progressOn(process.stderr, "simulating");
    const { files, bytes, folders, truthFiles } = writeNights(scenario, resolve(values.out), {
      ...(values.frames !== undefined && { frames: wholeNumber(values.frames, "frames", 1, 1e6) }),
      ...(values.seed !== undefined && { seed: wholeNumber(values.seed, "seed", 0, 2 ** 32 - 1) }),
      onFrame: ({ done, total }) => progress.step(done, total),
    });
    progress.end();
    console.log(
      `${files} files, ${(bytes / 1e6).toFixed(1)} MB in ${folders.length} nights below ${join(resolve(values.out), "nights")}`,
    );
    console.log(`Truth: ${truthFiles.join(", ")}`);
    return 0;
  },
};
