import { resolve } from "node:path";
import { measureNight } from "../night.js";
import { writeWhole } from "../read/write-whole.js";
import { writeEcsv } from "../terms/ecsv.js";
import { CallError } from "../terms/errors.js";
import { writeParquet } from "../terms/parquet.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";
import { nightFlags, refuseInside } from "./night-flags.js";
import { nightRequest } from "./night-request.js";

const usage =
  "measure FOLDER... --out FILE.ecsv [--site LAT,LON[,HEIGHT_M]] [--site-file FILE] [--target NAME|RA,DEC] [--jobs N] [--store DIR]";

/** Measures and places, without grading: the frame table alone. */
export const measure: Command = {
  usage,
  summary: "measure every sub and write the frame table (ECSV, or Parquet by the file's name)",
  help: `
Measures every sub below the folders and writes the frame table, ungraded. A name that ends in .parquet gives Parquet.
--jobs N and --store DIR as for triage.

Example:
  nightyield measure /card/2026-03-14 --out march14.ecsv`,
  async run(args) {
    const { values, positionals } = flags(args, nightFlags, usage);
    if (positionals.length === 0) throw new CallError(`Give at least one folder of subs. Usage: nightyield ${usage}`);
    if (values.out === undefined)
      throw new CallError(`Say where to write with --out FILE.ecsv. Usage: nightyield ${usage}`);
    const out = resolve(values.out);
    refuseInside(out, positionals);
    const { request, end } = nightRequest(values, positionals);
    const { table, attention } = await measureNight(positionals, request);
    end();
    writeWhole(out, /\.parquet$/i.test(out) ? writeParquet(table) : writeEcsv(table));
    console.log(`${table.rows} rows written to ${out}`);
    for (const line of attention) console.error(`attention: ${line}`);
    return attention.length === 0 ? 0 : 1;
  },
};
