import { resolve } from "node:path";
import { adviceOf } from "../explain/advice.js";
import type { Advice } from "../explain/advice-terms.js";
import { causesOf } from "../explain/causes.js";
import type { SubCause } from "../explain/causes-terms.js";
import { driversOf } from "../explain/drivers.js";
import { type Episode, episodesOf } from "../explain/episodes.js";
import { type SensorReport, sensorOf } from "../explain/sensor.js";
import { toExactJson } from "../numbers/exact-json.js";
import { writeWhole } from "../read/write-whole.js";
import { adviceLine, driverLines, episodeLine, sensorLines, subLine, warmLine } from "../show/causes-words.js";
import { writeEcsv } from "../terms/ecsv.js";
import { CallError } from "../terms/errors.js";
import { type FrameTable, selectRows, withColumns } from "../terms/frame-table.js";
import { type SymptomCode, symptomCodes } from "../terms/symptoms.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";
import { tablesOf } from "./plan-tables.js";

const usage = "causes DIR... [--subs] [--out FILE] [--json]";
const options = { subs: { type: "boolean" }, out: { type: "string" }, json: { type: "boolean" } } as const;

/** What spoiled the subs, and what to change. */
export const causes: Command = {
  usage,
  summary: "what spoiled the rejects, night by night; what quality goes with; what to change next time",
  help: `
Reads frames.ecsv of one or more triage results (DIR) and tells for each what spoiled its subs and when, what the sensor's
temperature did, and what to change; then what rejects and quality go with over all of them. A cause comes with its
probability; what the data cannot tell apart is said to be so.

  --subs       one line for each sub that is not a plain keep, with what speaks for its cause and against it
  --out FILE   write the frame table with the columns cause and causeProbability filled (ECSV)
  --json       the same as JSON

Example: two nights together, sub by sub:
  nightyield causes out/march14 out/march15 --subs`,
  async run(args) {
    const { values, positionals } = flags(args, options, usage);
    if (positionals.length === 0) throw new CallError(`Give at least one triage result. Usage: nightyield ${usage}`);
    const { table, from } = tablesOf(positionals);
    const results = positionals.map((folder, n) => {
      const rows = Array.from(from.keys()).filter((row) => from[row] === n);
      return { ...explained(folder, selectRows(table, rows)), rows };
    });
    const drivers = driversOf(table);
    if (values.out !== undefined) {
      const cause = new Array<string>(table.rows).fill("");
      const causeProbability = new Float64Array(table.rows).fill(Number.NaN);
      for (const { rows, table: own } of results)
        for (const [i, row] of rows.entries()) {
          cause[row] = own.cause[i];
          causeProbability[row] = own.causeProbability[i];
        }
      writeWhole(resolve(values.out), writeEcsv(withColumns(table, { cause, causeProbability })));
    }
    if (values.json === true)
      console.log(
        toExactJson({
          results: results.map(({ table: own, rows: _, ...rest }) => ({
            ...rest,
            causes: rest.causes.map((cause) => ({ file: own.file[cause.row], ...cause })),
          })),
          drivers,
        }),
      );
    else
      console.log(
        [
          ...results.map((r) => textOf(r, values.subs === true)),
          ["What quality goes with:", ...driverLines(drivers).map(indented)].join("\n"),
        ].join("\n\n"),
      );
    return 0;
  },
};

interface Explained {
  readonly folder: string;
  readonly table: FrameTable;
  readonly causes: readonly SubCause[];
  readonly episodes: readonly Episode[];
  readonly advice: readonly Advice[];
  readonly sensor: SensorReport;
}

function explained(folder: string, graded: FrameTable): Explained {
  const symptomsOfRow = graded.symptoms.map((text) =>
    text
      .split(";")
      .filter(isSymptomCode)
      .map((code) => ({ code })),
  );
  const { table, causeOfRow } = causesOf(graded, symptomsOfRow);
  return {
    folder,
    table,
    causes: causeOfRow.flatMap((cause) => cause ?? []),
    episodes: episodesOf(table, causeOfRow),
    advice: adviceOf(table, causeOfRow),
    sensor: sensorOf(table),
  };
}

const isSymptomCode = (text: string): text is SymptomCode => (symptomCodes as readonly string[]).includes(text);
const indented = (line: string) => `  ${line}`;

function textOf({ folder, table, causes: found, episodes, advice, sensor }: Explained, everySub: boolean): string {
  const lights = table.kind.filter((kind) => kind === "light").length;
  const dropped = table.verdict.filter((verdict) => verdict === "drop").length;
  const section = (title: string, lines: readonly string[]) =>
    lines.length === 0 ? [] : [title, ...lines.map(indented)];
  return [
    `${folder}: ${lights} light frames, ${dropped} dropped`,
    ...(episodes.length === 0 ? ["  nothing spoiled a sub"] : episodes.map(episodeLine).map(indented)),
    ...section("Sensor:", [...sensor.episodes.map(warmLine), ...sensor.groups.flatMap(sensorLines)]),
    ...section("Next time:", advice.map(adviceLine)),
    ...section(
      "Sub by sub:",
      everySub
        ? found.map((cause) => subLine(table.file[cause.row], table.verdict[cause.row] || "unjudged", cause))
        : [],
    ),
  ].join("\n");
}
