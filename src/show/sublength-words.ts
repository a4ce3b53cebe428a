import type { LongerSubs } from "../plan/longer-subs.js";
import type { LossRate } from "../plan/losses.js";
import type { NoiseModel } from "../plan/noise-model.js";
import type { LengthEnd, LengthReason, SubLengthAdvice } from "../plan/sub-length.js";
import { cameraText } from "./camera-words.js";

/** What is known of the sub length of one target and filter. */
export interface SubLengthAnswer {
  readonly target: string;
  readonly filter: string;
  readonly presentS: number;
  readonly noise: NoiseModel | null;
  readonly loss: LossRate;
  readonly advice: SubLengthAdvice;
  readonly tried: readonly LongerSubs[];
}

const reasons: Readonly<Record<LengthReason, string>> = {
  "read-noise": "below it read noise adds more than 5 % to the noise",
  "card-space": "below it the night's files do not fit on the card",
  events: "above it short events (gusts, knocks) cost more than 2 % of the time",
  "field-rotation": "above it the field's rotation blurs the corners by more than 1 px",
  drift: "above it the mount's drift exceeds half a star's width",
  saturation: "above it more than 0.1 % of the pixels saturate",
};
/** The advice as text, one fact a line. */
export function subLengthText(answer: SubLengthAnswer): string {
  const { target, filter, presentS, advice } = answer;
  return [
    `${target || "(no target)"}, ${filter || "no filter"}: now ${seconds(presentS)}`,
    `  use ${useText(advice)}`,
    ...endLines("low end", advice.low, lowMissing(advice)),
    ...endLines("high end", advice.high, "nothing measured speaks against longer subs"),
    ...noiseLines(answer.noise),
    ...costLines(answer),
    ...triedLines(answer),
  ].join("\n");
}

function useText({ conflict, fromS, toS, low, high, present }: SubLengthAdvice): string {
  if (conflict) {
    const asks = low[0].reason === "read-noise" ? "read noise asks" : "the card asks";
    return `${seconds(toS)}, the most that ${shortReason[high[0].reason]} allows; ${asks} for ${seconds(low[0].subS)}`;
  }
  const from = Number.isNaN(fromS) ? "" : seconds(fromS);
  const range = Number.isNaN(toS)
    ? from === ""
      ? "any length: nothing measured sets an end"
      : `${from} or longer`
    : from === ""
      ? `up to ${seconds(toS)}`
      : `${from} to ${seconds(toS)}`;
  const now = present.subS > toS ? "; the present is longer" : present.subS < fromS ? "; the present is shorter" : "";
  return `${range}${now}`;
}

const shortReason: Readonly<Record<LengthReason, string>> = {
  "read-noise": "read noise",
  "card-space": "the card",
  events: "the loss to events",
  "field-rotation": "field rotation",
  drift: "the drift",
  saturation: "saturation",
};

const lowMissing = ({ missing }: SubLengthAdvice) =>
  missing.includes("read-noise") ? "not known without the read noise" : "nothing measured speaks against shorter subs";

function endLines(name: string, list: readonly LengthEnd[], none: string): string[] {
  if (list.length === 0) return [`  ${name}: ${none}`];
  return list.map((end) => `  ${name}: ${seconds(end.subS)}, ${reasons[end.reason]}${rangeText(end)}`);
}

/** How far the end moves, and with what. */
function rangeText({ reason, rangeS }: LengthEnd): string {
  if (rangeS === null) return "";
  const { low, high } = rangeS;
  if (reason === "field-rotation")
    return ` (in the worst tenth of the subs; ${Number.isFinite(high) ? seconds(high) : "any length"} in the easiest)`;
  const range = Number.isFinite(high) ? `${number(low)} to ${seconds(high)}` : `${seconds(low)} or more`;
  if (high < 1.05 * low) return "";
  return reason === "read-noise" ? ` (${range} as the sky changed)` : ` (90 %: ${range})`;
}

function noiseLines(noise: NoiseModel | null): string[] {
  if (noise === null || Number.isNaN(noise.readShare))
    return ["  noise: sky and read noise cannot be told apart, so what shorter subs would cost is not known"];
  const rate = Number.isNaN(noise.backgroundEPerS)
    ? "in electrons not known without e-/ADU"
    : `${number(noise.backgroundEPerS)} e-/s/px`;
  const camera = cameraText(noise);
  const most = noise.readShareBound === "at-most" ? "at most " : "";
  return [
    `  noise: ${most}${number(100 * noise.readShare, 2)} % of a sub's variance is read noise; sky and dark ${most === "" ? "" : "at least "}${rate}${camera === "" ? "" : ` (${camera})`}`,
    ...(most === ""
      ? []
      : ["    so the low end by read noise is an upper bound; bias frames, or darks of two lengths, would tell it"]),
  ];
}

/** What the present length loses, and its files. */
function costLines({ presentS, advice, loss, tried }: SubLengthAnswer): string[] {
  const { present, presentCosts } = advice;
  const part = (share: number, why: string) => (share > 0 ? [`${number(100 * share, 2)} % ${why}`] : []);
  const lost = (perS: number) => (100 * (1 - Math.exp(-perS * presentS))).toFixed(1);
  const events =
    loss.events === 0
      ? [`nothing to short events (none seen; at most ${lost(loss.highPerS)} %)`]
      : part(
          presentCosts.events,
          `to short events (${loss.events} seen; 90 %: ${lost(loss.lowPerS)} to ${lost(loss.highPerS)} %)`,
        );
  const costs = [
    ...part(presentCosts.readNoise, "to read noise"),
    ...part(presentCosts.pauses, "to pauses"),
    ...events,
  ];
  const blur =
    present.rotationBlurPx > 0
      ? [`corners are blurred by ${number(present.rotationBlurPx, 2)} px in the worst tenth`]
      : [];
  const lines = [`  ${seconds(presentS)} lose, of the time: ${[...costs, ...blur].join("; ")}`];
  if (advice.missing.includes("overhead"))
    lines.push(
      `  pauses between subs: not known, as these start ${number(tried[0]?.stepS ?? Number.NaN)} s apart; where they are a selection give --overhead S`,
    );
  if (!Number.isNaN(present.subsPerNight))
    lines.push(
      `  files: ${number(present.subsPerNight, 4)} a night, ${bytes(present.bytesPerNight)}${filesAt(advice)}`,
    );
  return lines;
}

/** Files at the end of the range nearest to the present, where the present lies outside. */
function filesAt({ present, fromS, toS }: SubLengthAdvice): string {
  const better = present.subS > toS ? toS : present.subS < fromS ? fromS : Number.NaN;
  if (Number.isNaN(better)) return "";
  // Subs a night go as 1 / (length + pause).
  const times = (present.subS + present.pauseS) / (better + present.pauseS);
  return `; at ${seconds(better)} ${number(present.subsPerNight * times, 3)}, ${bytes(present.bytesPerNight * times)}`;
}

function triedLines({ tried, presentS }: SubLengthAnswer): string[] {
  if (tried.length < 2) return ["  tried on your subs: too few in a row to be added up"];
  if (tried.some(({ kept }) => kept === 0)) return ["  tried on your subs: of some lengths none would be kept"];
  const { stepS } = tried[0];
  const apart =
    stepS > 4 * presentS + 60
      ? [`  (the parts lie ${number(stepS)} s apart: good for sky and noise, a guess for gusts and knocks)`]
      : [];
  const header = ["length", "kept (90 %)", "FWHM", "corner blur", "depth (90 %)", "files an hour"];
  const rows = tried.map((one) => [
    seconds(one.exposureS),
    `${percent(one.keepRate)} (${percent(one.keepInterval.low)}-${percent(one.keepInterval.high)})`,
    `${one.fwhmPx.toFixed(2)} px`,
    Number.isNaN(one.rotationBlurPx) ? "-" : `${one.rotationBlurPx.toFixed(1)} px`,
    one.times === 1
      ? "100"
      : `${percent(one.snrPerClock)} (${percent(one.snrInterval.low)}-${percent(one.snrInterval.high)})`,
    one.filesPerHour.toFixed(0),
  ]);
  const widths = header.map((name, i) => Math.max(name.length, ...rows.map((row) => row[i].length)));
  const line = (cells: readonly string[]) => `    ${cells.map((cell, i) => cell.padStart(widths[i])).join("   ")}`;
  return [
    "  tried on your subs, added up as if they had been longer (kept and depth in %, depth against now for the same hours):",
    line(header),
    ...rows.map(line),
    ...apart,
  ];
}

const percent = (share: number) => (100 * share).toFixed(0);
const seconds = (s: number) => (Number.isFinite(s) ? `${number(s)} s` : number(s));

/** So many significant digits, without needless zeros. */
function number(value: number, significant = 3): string {
  if (Number.isNaN(value)) return "-";
  if (!Number.isFinite(value)) return "without end";
  const rounded = Number(value.toPrecision(significant));
  return Math.abs(rounded) >= 1e5 ? rounded.toFixed(0) : String(rounded);
}

const bytes = (n: number) => (n >= 1e9 ? `${number(n / 1e9)} GB` : `${number(n / 1e6)} MB`);
