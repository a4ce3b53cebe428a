import { basename, join, resolve } from "node:path";
import { readDecisions } from "../act/decisions.js";
import { writeLists } from "../act/night-files.js";
import { outcomeOf, triageNight } from "../night.js";
import { writeWhole } from "../read/write-whole.js";
import { nightSummary } from "../show/night-summary.js";
import { reportHtml } from "../show/report.js";
import { reportPictures } from "../show/report-pictures.js";
import { summaryJson } from "../show/summary-json.js";
import { CallError } from "../terms/errors.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";
import { gradingFlags, nightFlags, refuseInside } from "./night-flags.js";
import { nightRequest } from "./night-request.js";

const usage =
  "triage FOLDER... [--out DIR] [--site LAT,LON[,HEIGHT_M]] [--site-file FILE] [--target NAME|RA,DEC] [--purpose depth|balanced|detail] [--drop-streaks] [--jobs N] [--store DIR] [--json]";

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
  triage.ipynb  the same night as an executed notebook, to go on from
  keep.txt      paths of subs to stack: verdict keep or borderline
  drop.txt      paths of subs to leave out
  weights.csv   path, weight and verdict of each sub
  night.json    where each file was; mark and apply read it
Your own decisions (nightyield mark, kept in DIR/decisions.json) win over the grade.
DIR is nightyield-out/<folder name> below the current folder unless given. Nothing is written into FOLDER.

  --out DIR        where to write
  --site LAT,LON[,HEIGHT_M]   the observer, degrees, east and north positive, where the headers do not say
  --site-file FILE  site, target, pixel scale and more as JSON (see README.md)
  --target NAME    take this as the target's name; or RA,DEC in degrees or sexagesimal for its place
  --purpose depth|balanced|detail   what the stack is to be good at (default: balanced). depth: faint extended light,
                   where the width of stars counts least; detail: small sharp objects, where it counts most
  --drop-streaks   drop subs that carry a streak (satellite, aircraft). Otherwise a streak alone drops no sub: it is
                   marked, since a stack that rejects outliers removes the line
  --jobs N         frames measured at the same time (default: as many as the machine has cores, at most 8)
  --store DIR      where measurements are remembered, so that a second run measures only what is new
                   (default: your cache folder for this platform); --store none measures without remembering
  --json           print summary.json to standard output instead of the summary

Example: the real question after a night, with the observer at 48.2 N, 16.4 E:
  nightyield triage /card/2026-03-14 --site 48.2,16.4,200 --out out/march14
  -> out/march14/report.html`,
  async run(args) {
    const { values, positionals } = flags(args, { ...nightFlags, ...gradingFlags }, usage);
    if (positionals.length === 0) throw new CallError(`Give at least one folder of subs. Usage: nightyield ${usage}`);
    const out = resolve(values.out ?? join("nightyield-out", basename(resolve(positionals[0]!))));
    refuseInside(out, positionals);
    const { request, end } = nightRequest(values, positionals);
    readDecisions(out); // a wrongly edited file stops here, before hours of measuring
    const measured = await triageNight(positionals, request);
    end();
    const { table, notes } = writeLists(out, { table: measured.table, paths: measured.paths, folders: positionals });
    const night = { ...measured, table, ...outcomeOf(table, request.limits), notes: [...measured.notes, ...notes] };
    const summary = summaryJson(night);
    writeWhole(join(out, "summary.json"), summary);
    writeWhole(join(out, "report.html"), reportHtml(night, { pictures: reportPictures(night) }));
    // Loaded here, as the notebook's compiler and sockets take longer to load than a remembered night to grade.
    const parameters = { purpose: values.purpose ?? "balanced", dropStreaks: values["drop-streaks"] ?? false };
    const { writeTriageNotebook } = await import("../notebook/triage-notebook.js");
    for (const note of await writeTriageNotebook(out, { now: () => new Date(), parameters }))
      console.error(`note: ${note}`);
    if (values.json === true) console.log(summary);
    else console.log([...nightSummary(night), "", `Report: ${join(out, "report.html")}`].join("\n"));
    if (night.attention.length === 0) return 0;
    for (const line of night.attention) console.error(`attention: ${line}`);
    return 1;
  },
};
