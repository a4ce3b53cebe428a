import { toExactJson } from "../numbers/exact-json.js";
import { quantile } from "../numbers/quantiles.js";
import { depthReached, type FilterDepth } from "../plan/depth.js";
import { type LongerSubs, longerSubs } from "../plan/longer-subs.js";
import { lossRate } from "../plan/losses.js";
import { mountKind } from "../plan/mount.js";
import { overheadOf } from "../plan/nights.js";
import { type CameraGiven, type NoiseModel, noiseModels } from "../plan/noise-model.js";
import { type LengthEnd, type LengthReason, type SubLengthAdvice, subLengthAdvice } from "../plan/sub-length.js";
import { CallError } from "../terms/errors.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";
import { bytesText, cameraFlags, cameraGiven, digits, numberFlag, requestFor, tablesOf } from "./plan-tables.js";

const usage =
  "sublength DIR... [--filter NAME] [--gain E_PER_ADU] [--read-noise E] [--pedestal ADU] [--card-gb GB] [--hours H] [--mount altaz|equatorial] [--json]";
const options = { ...cameraFlags, hours: { type: "string" }, mount: { type: "string" } } as const;

/** How long a sub should be. */
export const sublength: Command = {
  usage,
  summary: "how long a sub should be, from the subs you have: read noise, rotation, events, card space",
  help: `
Reads frames.ecsv of one or more triage results (DIR) and says, for every target and filter, from which length to which a sub should be,
why, what the present length costs, and what your own subs would have brought had they been longer.

  --filter NAME     only this filter
  --gain E_PER_ADU  electrons per ADU, where the subs do not tell
  --read-noise E    read noise of the camera at this gain, electrons
  --pedestal ADU    level of a bias frame
  --card-gb GB      free space, for the number of files
  --hours H         hours of capture per night; the longest night so far when left out
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
    const { table } = tablesOf(positionals);
    const answers = depthReached(table)
      .filter(({ filter }) => values.filter === undefined || filter.toLowerCase() === values.filter.toLowerCase())
      .flatMap((depth) => answersFor(table, depth, given, { cardGb, hours, mount }));
    if (answers.length === 0)
      throw new CallError(
        `No kept light frame matches${values.filter === undefined ? "" : ` the filter '${values.filter}'; there are: ${[...new Set(table.filter)].filter((name) => name !== "").join(", ")}`}`,
      );
    console.log(values.json === true ? toExactJson(answers) : answers.map(textOf).join("\n\n"));
    const unknown = answers.filter(({ noise }) => Number.isNaN(noise?.readTimeS ?? Number.NaN));
    if (unknown.length === 0) return 0;
    console.error(
      `attention: the low end needs ${requestFor(unknown[0].noise?.missing ?? ["electrons-per-adu", "read-noise"]) || "--read-noise E"}`,
    );
    return 1;
  },
};

interface Answer {
  readonly target: string;
  readonly filter: string;
  readonly presentS: number;
  readonly noise: NoiseModel | null;
  readonly advice: SubLengthAdvice;
  readonly tried: readonly LongerSubs[];
}

interface Asked {
  readonly cardGb: number | undefined;
  readonly hours: number | undefined;
  readonly mount: "altaz" | "equatorial" | undefined;
}

function answersFor(table: FrameTable, depth: FilterDepth, given: CameraGiven, asked: Asked): Answer[] {
  const lengths = new Map<number, number[]>();
  for (const row of depth.rows) lengths.set(table.exposureS[row], [...(lengths.get(table.exposureS[row]) ?? []), row]);
  const [usual] = [...lengths].sort(([, a], [, b]) => b.length - a.length);
  const [presentS, rows] = usual;
  if (!(presentS > 0)) return [];
  const noise =
    noiseModels(table, given).find(
      ({ filter, gainSetting }) => filter === depth.filter && Object.is(gainSetting, table.gainSetting[rows[0]]),
    ) ?? null;
  const { overheadS } = overheadOf(table, rows);
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
    overheadS,
    lossPerS: loss.perS,
    rotationBlurPx: rotates ? at(table.rotationBlurPx, 0.9) : 0,
    fwhmPx: depth.fwhmPx,
    saturatedFraction: at(table.saturatedFraction, 0.5),
    width: table.width[rows[0]],
    height: table.height[rows[0]],
    ...optional,
    ...(asked.cardGb !== undefined && { freeBytes: asked.cardGb * 1e9 }),
  });
  const gain = noise?.electronsPerAdu?.value ?? Number.NaN;
  const readAdu = (noise?.readNoiseE?.value ?? Number.NaN) / gain;
  const tried = longerSubs(table, rows, [2, 3, 4], Number.isFinite(readAdu) ? { readNoiseAdu: readAdu } : {});
  return [{ target: depth.target, filter: depth.filter, presentS, noise, advice, tried }];
}

const reasons: Readonly<Record<LengthReason, string>> = {
  "read-noise": "below it read noise adds more than 5 %",
  "card-space": "below it the night's files do not fit on the card",
  events: "above it gusts and bumps cost too many subs",
  "field-rotation": "above it the field's rotation blurs the corners by more than 1 px",
  drift: "above it the mount's drift exceeds half a star's width",
  saturation: "above it too many pixels saturate",
};

function presentText(presentS: number, { present, presentLoss, toS }: SubLengthAdvice): string[] {
  const { noiseFactor, subsPerNight, bytesPerNight } = present;
  const noise = Number.isNaN(noiseFactor)
    ? ""
    : `; noise ${digits(100 * (noiseFactor - 1), 2)} % above that of endless subs`;
  const loss =
    presentS > toS
      ? "are longer than the high end allows"
      : `lose ${digits(100 * presentLoss, 2)} % of the clock time against the best allowed length`;
  const files = Number.isNaN(subsPerNight)
    ? ""
    : `; ${digits(subsPerNight, 4)} files, ${bytesText(bytesPerNight)} a night`;
  return [`  the present ${digits(presentS)} s ${loss}${noise}${files}`];
}

function textOf({ target, filter, presentS, noise, advice, tried }: Answer): string {
  const { conflict, fromS, toS } = advice;
  const end = (name: string, list: readonly LengthEnd[], none: string) =>
    list.length === 0
      ? [`  ${name}: ${none}`]
      : list.map(({ subS, reason }) => `  ${name}: ${digits(subS)} s, ${reasons[reason]}`);
  const range = conflict
    ? `${digits(toS)} s: the limits below leave no room for more, though read noise asks for it`
    : `${Number.isNaN(fromS) ? "any length" : `${digits(fromS)} s`} to ${Number.isNaN(toS) ? "as long as you like" : `${digits(toS)} s`}`;
  return [
    `${target || "(no target)"}, ${filter || "no filter"}: now ${digits(presentS)} s`,
    `  use ${range}`,
    ...end("low end", advice.low, "not known without the read noise"),
    ...end("high end", advice.high, "nothing measured speaks against longer subs"),
    noise === null || Number.isNaN(noise.readShare)
      ? "  noise: sky and read noise cannot be told apart"
      : `  noise: ${digits(100 * noise.readShare)} % of a sub's variance is read noise; sky and dark ${Number.isNaN(noise.backgroundEPerS) ? "not known in electrons" : `${digits(noise.backgroundEPerS)} e-/s/px`}`,
    ...presentText(presentS, advice),
    ...(tried.length < 2
      ? ["  tried on your subs: too few in a row"]
      : [
          "  tried on your subs:   length   keep (90 % interval)   FWHM   SNR per hour   files per hour",
          ...tried.map(
            ({ exposureS, keepRate, keepInterval, fwhmPx, snrPerClock, filesPerHour }) =>
              `    ${`${digits(exposureS)} s`.padStart(26)}   ${`${(100 * keepRate).toFixed(0)} % (${(100 * keepInterval.low).toFixed(0)}-${(100 * keepInterval.high).toFixed(0)})`.padEnd(20)}   ${fwhmPx.toFixed(2)}   ${`${(100 * snrPerClock).toFixed(1)} %`.padStart(12)}   ${filesPerHour.toFixed(0).padStart(14)}`,
          ),
        ]),
  ].join("\n");
}
