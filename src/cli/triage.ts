import { basename, join, resolve } from "node:path";
import { triageNight } from "../night.js";
import { writeWhole } from "../read/write-whole.js";
import { nightSummary } from "../show/night-summary.js";
import { reportHtml } from "../show/report.js";
import { summaryJson } from "../show/summary-json.js";
import { writeEcsv } from "../terms/ecsv.js";
import { CallError } from "../terms/errors.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";
import { givenFrom, nightFlags, refuseInside } from "./night-flags.js";
import { progressOn } from "./progress.js";
import { version } from "./version.js";

const usage =
  "triage FOLDER... [--out DIR] [--site LAT,LON[,HEIGHT_M]] [--site-file FILE] [--target NAME|RA,DEC] [--jobs N] [--json]";

/** The main job: a night's folders in, verdicts with reasons, a report and plain lists out. */
export const triage: Command = {
  usage,
  summary: "measure, place and grade every sub of a night; write report, table and lists",
  help: `
Measures every sub below the folders, places it in the sky, grades it within its own group (target, filter,
exposure, gain) and writes into DIR:
  report.html   the night's story, charts and every sub with its reasons; one file, opens offline
  frames.ecsv   one row a file, units in the header; astropy opens it with Table.read(..., format='ascii.ecsv')
  summary.json  the same story for programs
  keep.txt      paths of subs to stack: verdict keep or borderline
  drop.txt      paths of subs to leave out
DIR is nightyield-out/<folder name> below the current folder unless given. Nothing is written into FOLDER.

  --out DIR        where to write
  --site LAT,LON[,HEIGHT_M]   the observer, degrees, east and north positive, where the headers do not say
  --site-file FILE  site, target, pixel scale and more as JSON (see README.md)
  --target NAME    take this as the target's name; or RA,DEC in degrees or sexagesimal for its place
  --jobs N         accepted; subs are still measured one after the other
  --json           print summary.json to standard output instead of the summary

Example: the real question after a night, with the observer at 48.2 N, 16.4 E:
  nightyield triage /card/2026-03-14 --site 48.2,16.4,200 --out out/march14
  -> out/march14/report.html`,
  async run(args) {
    const { values, positionals } = flags(args, nightFlags, usage);
    if (positionals.length === 0) throw new CallError(`Give at least one folder of subs. Usage: nightyield ${usage}`);
    const out = resolve(values.out ?? join("nightyield-out", basename(resolve(positionals[0]!))));
    refuseInside(out, positionals);
    const progress = progressOn(process.stderr, "measuring");
    const night = await triageNight(positionals, {
      ...givenFrom(values),
      version: version(),
      onProgress: (done, total) => progress.step(done, total),
    });
    progress.end();
    const { table, paths } = night;
    const list = (...wanted: readonly string[]) =>
      paths
        .filter((_, row) => wanted.includes(table.verdict[row]!))
        .map((path) => `${path}\n`)
        .join("");
    const summary = summaryJson(night);
    writeWhole(join(out, "frames.ecsv"), writeEcsv(table));
    writeWhole(join(out, "summary.json"), summary);
    writeWhole(join(out, "keep.txt"), list("keep", "borderline"));
    writeWhole(join(out, "drop.txt"), list("drop"));
    writeWhole(join(out, "report.html"), reportHtml(night));
    if (values.json === true) console.log(summary);
    else console.log([...nightSummary(night), "", `Report: ${join(out, "report.html")}`].join("\n"));
    if (night.attention.length === 0) return 0;
    for (const line of night.attention) console.error(`attention: ${line}`);
    return 1;
  },
};
