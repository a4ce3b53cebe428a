import { toExactJson } from "../numbers/exact-json.js";
import { quantile } from "../numbers/quantiles.js";
import { depthReached, type FilterDepth } from "../plan/depth.js";
import { longerSubs } from "../plan/longer-subs.js";
import { lossRate } from "../plan/losses.js";
import { mountKind } from "../plan/mount.js";
import { overheadOf } from "../plan/nights.js";
import { type NoiseModel, noiseModels } from "../plan/noise-model.js";
import { subLengthAdvice } from "../plan/sub-length.js";
import { type SubLengthAnswer, subLengthText } from "../show/sublength-words.js";
import { CallError } from "../terms/errors.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";
import { cameraFlags, cameraGiven, numberFlag, requestFor, tablesOf } from "./plan-tables.js";

const usage =
  "sublength DIR... [--filter NAME] [--gain E_PER_ADU] [--read-noise E] [--pedestal ADU] [--card-gb GB] [--hours H] [--overhead S] [--mount altaz|equatorial] [--json]";
const options = {
  ...cameraFlags,
  hours: { type: "string" },
  overhead: { type: "string" },
  mount: { type: "string" },
} as const;

/** How long a sub should be. */
export const sublength: Command = {
  usage,
  summary: "how long a sub should be, from the subs you have: read noise, rotation, events, card space",
  help: `
Reads frames.ecsv of one or more triage results (DIR) and says, for every target and filter, from which length to which a sub should be,
why, what the present length costs, and what your own subs would have brought had they been longer.

  --filter NAME     only this filter
  --gain E_PER_ADU  electrons per ADU; when left out from flat frames, from headers, or from the subs
  --read-noise E    read noise of the camera at this gain, electrons; when left out from bias or dark frames, from headers,
                    or from the subs. The frames: two alike of each kind among the files given to triage
  --pedestal ADU    level of a bias frame
  --card-gb GB      free space, for the number of files
  --hours H         hours of capture per night; the longest night so far when left out
  --overhead S      time between two subs, where only some of a night's subs are there
  --mount TYPE      altaz (field rotation counts) or equatorial; seen from the subs when left out
  --json            the same as JSON

Example: read noise 1.6 e- and 0.8 e-/ADU from the camera's data sheet, a card with 20 GB free:
  nightyield sublength out/march14 out/march15 --gain 0.8 --read-noise 1.6 --card-gb 20`,
  async run(args) {
    const { values, positionals } = flags(args, options, usage);
    if (positionals.length === 0) throw new CallError(`Give at least one triage result. Usage: nightyield ${usage}`);
    const { mount } = values;
    if (mount !== undefined && mount !== "altaz" && mount !== "equatorial")
      throw new CallError(`--mount is '${mount}', expected altaz or equatorial`);
    const given = cameraGiven(values);
    const cardGb = numberFlag(values["card-gb"], "card-gb", 0.001, 1e6);
    const hours = numberFlag(values.hours, "hours", 0.01, 24);
    const overheadS = numberFlag(values.overhead, "overhead", 0, 3600);
    const { table, said } = tablesOf(positionals);
    const models = noiseModels(table, given, said);
    const answers = depthReached(table)
      .filter(({ filter }) => values.filter === undefined || filter.toLowerCase() === values.filter.toLowerCase())
      .flatMap((depth) => answersFor(table, depth, models, { cardGb, hours, overheadS, mount }));
    if (answers.length === 0)
      throw new CallError(
        `No kept light frame matches${values.filter === undefined ? "" : ` the filter '${values.filter}'; there are: ${[...new Set(table.filter)].filter((name) => name !== "").join(", ")}`}`,
      );
    console.log(values.json === true ? toExactJson(answers) : answers.map(subLengthText).join("\n\n"));
    const unknown = answers.filter(({ noise }) => Number.isNaN(noise?.readTimeS ?? Number.NaN));
    if (unknown.length === 0) return 0;
    console.error(
      `attention: the low end needs ${requestFor(unknown[0].noise?.missing ?? ["electrons-per-adu", "read-noise"]) || "--read-noise E"}`,
    );
    return 1;
  },
};

interface Asked {
  readonly cardGb: number | undefined;
  readonly hours: number | undefined;
  readonly overheadS: number | undefined;
  readonly mount: "altaz" | "equatorial" | undefined;
}

function answersFor(
  table: FrameTable,
  depth: FilterDepth,
  models: readonly NoiseModel[],
  asked: Asked,
): SubLengthAnswer[] {
  const lengths = new Map<number, number[]>();
  for (const row of depth.rows) lengths.set(table.exposureS[row], [...(lengths.get(table.exposureS[row]) ?? []), row]);
  const [usual] = [...lengths].sort(([, a], [, b]) => b.length - a.length);
  const [presentS, rows] = usual;
  if (!(presentS > 0)) return [];
  const noise =
    models.find(
      ({ filter, gainSetting }) => filter === depth.filter && Object.is(gainSetting, table.gainSetting[rows[0]]),
    ) ?? null;
  const overheadS = asked.overheadS ?? overheadOf(table, rows).overheadS;
  const loss = lossRate(table, rows);
  const at = (of: ArrayLike<number>, p: number) =>
    quantile(
      rows.map((row) => of[row]),
      p,
    );
  const optional = { hoursPerNight: asked.hours ?? Math.max(...depth.nights.map(({ clockS }) => clockS)) / 3600 };
  const kind = mountKind(table, depth.rows);
  const rotates = asked.mount === undefined ? kind !== "equatorial" : asked.mount === "altaz";
  const advice = subLengthAdvice({
    presentS,
    readTimeS: noise?.readTimeS ?? Number.NaN,
    ...(noise !== null && Number.isFinite(noise.readTimeS) && { readTimeRangeS: noise.readTimeRangeS }),
    overheadS,
    lossPerS: loss.perS,
    lossRangePerS: { low: loss.lowPerS, high: loss.highPerS },
    rotationBlurPx: rotates ? at(table.rotationBlurPx, 0.9) : 0,
    ...(rotates && { rotationRangePx: { low: at(table.rotationBlurPx, 0.1), high: at(table.rotationBlurPx, 0.9) } }),
    fwhmPx: depth.fwhmPx,
    saturatedFraction: at(table.saturatedFraction, 0.5),
    width: table.width[rows[0]],
    height: table.height[rows[0]],
    ...optional,
    ...(asked.cardGb !== undefined && { freeBytes: asked.cardGb * 1e9 }),
  });
  // In ADU, which is known where e-/ADU is not: the read noise's part of a sub's variance.
  const readAdu = Math.sqrt(noise?.readShare ?? Number.NaN) * (noise?.noiseAdu ?? Number.NaN);
  const tried = longerSubs(table, rows, [2, 3, 4], {
    ...(Number.isFinite(readAdu) && { readNoiseAdu: readAdu }),
    ...(asked.overheadS !== undefined && { overheadS: asked.overheadS }),
  });
  return [{ target: depth.target, filter: depth.filter, presentS, noise, loss, advice, tried }];
}
