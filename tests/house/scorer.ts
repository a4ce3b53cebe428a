// Holds a frame table against the truth of a simulated night: verdicts, causes, measured columns.
import { median, quantile } from "../../src/numbers/quantiles.js";
import { isoUtc } from "../../src/read/instants.js";
import { conditionsOf } from "../../src/simulate/conditions.js";
import { planNight } from "../../src/simulate/frame-plan.js";
import type { Scenario } from "../../src/simulate/scenario.js";
import { type FrameTruth, gradeTruth } from "../../src/simulate/truth.js";
import type { FrameTable, NumberColumnName } from "../../src/terms/frame-table.js";

/** How often a yes was right, and how much of what is true was found; NaN when there is nothing to count. */
export interface Rates {
  readonly precision: number;
  readonly recall: number;
  /** Harmonic mean of both: 2 hits / (found + true). */
  readonly f1: number;
  readonly hits: number;
  readonly found: number;
  readonly true: number;
}

/** Differences of a measured column from the truth, over the light frames that were measured. */
export interface ColumnError {
  readonly column: string;
  readonly rows: number;
  /** Median of measured - true (or measured / true - 1 where `relative`). */
  readonly median: number;
  /** Half of the range that holds the middle 68 %. */
  readonly spread: number;
  readonly worst: number;
  readonly relative: boolean;
}

export interface Score {
  readonly files: number;
  /** Files of the truth that have no row, and rows that have no truth. */
  readonly missing: readonly string[];
  readonly extra: readonly string[];
  /** Files whose kind was not recognised. */
  readonly wrongKind: readonly string[];
  /** Light frames that should be dropped: found among the dropped. Truly borderline ones are left out; a true drop that was called borderline is missed. */
  readonly drop: Rates;
  /** Frames truly to be dropped that have a cause: part of them that were given the right one. */
  readonly causeAccuracy: number;
  readonly causesJudged: number;
  readonly columns: readonly ColumnError[];
}

type Pair = readonly [
  column: NumberColumnName,
  trueColumn: keyof FrameTruth,
  how: "relative" | "difference" | "scaled" | "angle" | "line",
];
/**
 * What is compared with what. `scaled`: only the course is known, so the measured column is first multiplied to have the
 * truth's 90 % quantile. `angle`: directions, which repeat after 180 degrees. `line`: the truth is in another unit with an
 * unknown pedestal, so a straight line is fitted first and the rest is given relative to the column's median.
 */
const compared: readonly Pair[] = [
  ["fwhmPx", "fwhmPx", "relative"],
  ["hfrPx", "hfrPx", "relative"],
  ["starCount", "starsSnr10", "relative"],
  ["transparency", "transparency", "scaled"],
  ["blockedFraction", "blockedFraction", "difference"],
  ["streaks", "streaks", "difference"],
  ["backgroundAdu", "skyEPerSPx", "line"],
  ["elongationAngleDeg", "elongationAngleDeg", "angle"],
  ["shiftXPx", "shiftXPx", "difference"],
  ["shiftYPx", "shiftYPx", "difference"],
  ["rotationDeg", "rotationDeg", "difference"],
  ["altitudeDeg", "altitudeDeg", "difference"],
  ["azimuthDeg", "azimuthDeg", "difference"],
  ["airmass", "airmass", "relative"],
  ["sunAltitudeDeg", "sunAltitudeDeg", "difference"],
  ["moonAltitudeDeg", "moonAltitudeDeg", "difference"],
  ["sensorTempC", "sensorTempC", "difference"],
  ["effectiveExposureS", "effectiveExposureS", "relative"],
];

/** @param truth - one row a file, names as in the table's `file` column */
export function score(table: FrameTable, truth: readonly FrameTruth[]): Score {
  const rowOf = new Map(table.file.map((file, row) => [file, row]));
  const known = new Set(truth.map(({ file }) => file));
  const pairs = truth.flatMap((t) => (rowOf.has(t.file) ? [{ t, row: rowOf.get(t.file)! }] : []));
  const lights = pairs.filter(({ t }) => t.kind === "light");
  const judged = lights.filter(({ t }) => t.verdict !== "borderline");
  const dropped = (verdict: string) => verdict === "drop";
  const hit = judged.filter(({ t, row }) => dropped(t.verdict) && dropped(table.verdict[row]!)).length;
  const found = judged.filter(({ row }) => dropped(table.verdict[row]!)).length;
  const real = judged.filter(({ t }) => dropped(t.verdict)).length;
  const withCause = pairs.filter(
    ({ t, row }) => t.cause !== "" && (t.verdict === "drop" || t.kind === "unreadable") && table.cause[row] !== "",
  );
  const right = withCause.filter(({ t, row }) => table.cause[row] === t.cause).length;
  return {
    files: truth.length,
    missing: truth.filter(({ file }) => !rowOf.has(file)).map(({ file }) => file),
    extra: table.file.filter((file) => !known.has(file)),
    wrongKind: pairs.filter(({ t, row }) => table.kind[row] !== t.kind).map(({ t }) => t.file),
    drop: rates(hit, found, real),
    causeAccuracy: right / withCause.length,
    causesJudged: withCause.length,
    columns: compared.map((pair) => columnError(table, lights, pair)),
  };
}

/** Rates from counts. */
export const rates = (hits: number, found: number, real: number): Rates => ({
  precision: hits / found,
  recall: hits / real,
  f1: (2 * hits) / (found + real),
  hits,
  found,
  true: real,
});

/**
 * The truth of nights that go into one stack. A scenario's own truth grades each night by itself, but what a sub does to
 * the stack depends on all subs in it: one that is among the best of a poor night may cost the stack of five nights more
 * than it gives. So target, filter and exposure are graded over all nights together, by the same rule.
 * @param files - light frames and others as the simulation gave them
 */
export function truthOfStack(
  scenario: Scenario,
  files: readonly { readonly night: string; readonly truth: FrameTruth }[],
): FrameTruth[] {
  if (scenario.nights.length === 1) return files.map(({ truth }) => truth);
  const plans = scenario.nights.flatMap((night) => planNight(scenario, night));
  const graded = gradeTruth(
    plans.map((plan) => ({
      group: `${plan.target}|${plan.filter}|${plan.exposureS}`,
      exposureS: plan.exposureS,
      conditions: conditionsOf(scenario, plan),
    })),
  );
  const known = new Map(plans.map((plan, i) => [`${plan.night.name} ${isoUtc(plan.startMs)}`, graded[i]!]));
  return files.map(({ night, truth }) => {
    const verdict = known.get(`${night} ${truth.startUtc}`)?.verdict;
    return truth.kind === "light" && verdict !== undefined ? { ...truth, verdict } : truth;
  });
}

interface Both {
  readonly measured: number;
  readonly real: number;
}

/** The least-squares line of measured on real values, and the size of what was measured. */
function lineThrough(both: readonly Both[]): { slope: number; base: number; size: number } {
  const mean = (pick: (b: Both) => number) => both.reduce((sum, b) => sum + pick(b), 0) / both.length;
  const [x, y] = [mean((b) => b.real), mean((b) => b.measured)];
  const spread = mean((b) => (b.real - x) ** 2);
  const slope = spread > 0 ? mean((b) => (b.real - x) * (b.measured - y)) / spread : 0;
  return { slope, base: y - slope * x, size: median(both.map((b) => b.measured)) };
}

function columnError(
  table: FrameTable,
  lights: readonly { readonly t: FrameTruth; readonly row: number }[],
  [column, trueColumn, how]: Pair,
): ColumnError {
  const both = lights
    .map(({ t, row }) => ({ measured: table[column][row]!, real: Number(t[trueColumn]) }))
    .filter(({ measured, real }) => Number.isFinite(measured) && Number.isFinite(real));
  const top = (values: readonly number[]) => quantile(values, 0.9);
  const factor = how === "scaled" ? top(both.map((b) => b.real)) / top(both.map((b) => b.measured)) : 1;
  const line = how === "line" ? lineThrough(both) : { slope: 1, base: 0, size: 1 };
  const errorOf = ({ measured, real }: Both): number => {
    if (how === "relative") return measured / real - 1;
    if (how === "line") return (measured - line.base - line.slope * real) / line.size;
    if (how === "angle") return ((((measured - real + 90) % 180) + 180) % 180) - 90;
    return measured * factor - real;
  };
  const errors = both.filter(({ real }) => how !== "relative" || real !== 0).map(errorOf);
  return {
    column,
    rows: errors.length,
    median: median(errors),
    spread: (quantile(errors, 0.84) - quantile(errors, 0.16)) / 2,
    worst: errors.reduce((most, e) => Math.max(most, Math.abs(e)), 0),
    relative: how === "relative",
  };
}

/** The score as lines of text. */
export function scoreLines(name: string, s: Score): string[] {
  const rate = (n: number) => (Number.isNaN(n) ? "  -  " : n.toFixed(3));
  const lines = [
    `${name}: ${s.files} files, ${s.missing.length} missing, ${s.extra.length} extra, ${s.wrongKind.length} of another kind`,
    `  drop: precision ${rate(s.drop.precision)} recall ${rate(s.drop.recall)} F1 ${rate(s.drop.f1)} (${s.drop.found} found, ${s.drop.true} true)` +
      `   cause right ${rate(s.causeAccuracy)} of ${s.causesJudged}`,
  ];
  for (const c of s.columns) {
    if (c.rows === 0) continue;
    const show = (n: number) => (c.relative ? `${(100 * n).toFixed(1)} %` : n.toPrecision(3)).padStart(9);
    lines.push(
      `  ${c.column.padEnd(20)}${String(c.rows).padStart(4)} rows  median ${show(c.median)}  spread ${show(c.spread)}  worst ${show(c.worst)}`,
    );
  }
  return lines;
}
