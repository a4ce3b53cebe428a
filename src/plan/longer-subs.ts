import { gradeNight } from "../grade/grade-night.js";
import type { Limits } from "../grade/limits.js";
import { betaBinomial, betaBinomialQuantile } from "../numbers/beta-binomial.js";
import type { Interval } from "../numbers/proportion-intervals.js";
import { median } from "../numbers/quantiles.js";
import { type FrameTable, fromRows } from "../terms/frame-table.js";
import { type AddedSub, type AddTerms, addedSub, driftPxPerS, knockedSubs } from "./added-sub.js";
import { bytesOfSub } from "./card-space.js";
import { nightsOf, overheadOf, startMs } from "./nights.js";

/** What is known besides the table. */
export interface LongerOptions {
  /**
   * Read noise in ADU (read noise in e- over e-/ADU): what a longer sub saves. Left out: taken as nothing, which is
   * the worst case for long subs.
   */
  readonly readNoiseAdu?: number;
  /** Time between two subs, s; seen from the subs when left out. */
  readonly overheadS?: number;
  readonly limits?: Limits;
  /** Bytes per pixel of a file; 2 when left out. */
  readonly bytesPerPx?: number;
}

/** The user's subs as if they had been longer. */
export interface LongerSubs {
  /** How many subs were added to one; 1: as they are. */
  readonly times: number;
  readonly exposureS: number;
  readonly subs: number;
  readonly kept: number;
  /**
   * Kept of all, less what fell into the pauses between the parts. The interval: what a night of as many such subs under
   * the same sky would keep, in 90 of 100 cases (beta-binomial, Jeffreys' prior).
   */
  readonly keepRate: number;
  readonly keepInterval: Interval;
  /** Median FWHM of the kept, px. */
  readonly fwhmPx: number;
  /** Median blur of corners by field rotation, px. */
  readonly rotationBlurPx: number;
  /** Signal over noise of the stack of the kept per square root of clock time, relative to the subs as they are. */
  readonly snrPerClock: number;
  /** The same at both ends of the keep rate's interval. */
  readonly snrInterval: Interval;
  /** Subs of the same night per clock hour. */
  readonly filesPerHour: number;
  readonly bytesPerHour: number;
  /** From the start of one part to the next, s: much more than the exposure where only some of a night's subs are there. */
  readonly stepS: number;
}

/** Parts farther apart than this are not of one sky, s. */
const mostStepS = 1200;

/**
 * Adds consecutive subs 2, 3, 4 ... at a time as if they had been one exposure, grades the results as a night of their
 * own, and compares what each length would have brought. A sum carries the events of all its parts; its noise lacks the
 * read-outs that would not have happened; its stars are drawn out by the drift and rotation of the longer time; the
 * pauses between its parts are given back. Subs count as consecutive across gaps of up to two and a half usual steps
 * (and half a minute), the usual step being at most 20 minutes; what is left over at the end of a run is left out.
 *
 * Where the usual pause exceeds three exposures and a minute (a selection of a night's subs), the pauses are not
 * overhead: then depth is per time exposed, and the parts stand for subs that would have been taken together.
 * @param rows - light frames of one target, filter, exposure and gain
 * @param times - whole numbers; 1 comes first, added when it is missing
 * @example
 * ```ts
 * import { depthReached, longerSubs } from "nightyield";
 * const [{ rows }] = depthReached(table);
 * for (const { exposureS, keepRate, snrPerClock } of longerSubs(table, rows, [2, 3])) console.log(exposureS, keepRate, snrPerClock);
 * ```
 */
export function longerSubs(
  table: FrameTable,
  rows: readonly number[],
  times: readonly number[] = [1, 2, 3, 4],
  options: LongerOptions = {},
): LongerSubs[] {
  const lengths = [...new Set([1, ...times])].filter((k) => Number.isInteger(k) && k >= 1).sort((a, b) => a - b);
  const overheadS = options.overheadS ?? (overheadOf(table, rows).overheadS || 0);
  const drift = driftPxPerS(table, rows);
  const terms = { drift, readNoiseAdu: options.readNoiseAdu ?? 0, knocked: knockedSubs(table, rows, drift) };
  const stepS = usualStepS(table, rows);
  const runs = runsOf(table, rows, stepS);
  const results = lengths.map((k) => ({ k, night: addedNight(table, runs, k, terms, options) }));
  const single = results[0].night;
  if (single.table.rows === 0) return [];
  return results
    .filter(({ night }) => night.table.rows > 0)
    .map(({ k, night }) => resultOf(k, night, single, { overheadS, stepS, bytesPerPx: options.bytesPerPx ?? 2 }));
}

/** A night of sums, graded. */
interface AddedNight {
  readonly table: FrameTable;
  readonly added: readonly AddedSub[];
  /** Rows that go into the stack; where there were too few to judge, all of them. */
  readonly kept: readonly number[];
}

function addedNight(
  table: FrameTable,
  runs: readonly (readonly number[])[],
  k: number,
  terms: AddTerms,
  { limits }: LongerOptions,
): AddedNight {
  const added = runs.flatMap((run) =>
    Array.from({ length: Math.floor(run.length / k) }, (_, i) => addedSub(table, run.slice(i * k, (i + 1) * k), terms)),
  );
  const light = added.some((one) => one.measuredLight > 0) && {
    starlight: added.map((one) => one.measuredLight),
    starlightError: added.map((one) => one.lightError),
  };
  const graded = gradeNight(fromRows(added.map(({ row }) => row)), { ...(limits && { limits }), ...light }).table;
  const kept = added.flatMap((_, row) => (graded.verdict[row] === "drop" ? [] : [row]));
  return { table: graded, added, kept };
}

interface Pace {
  readonly overheadS: number;
  readonly stepS: number;
  readonly bytesPerPx: number;
}

function resultOf(
  k: number,
  night: AddedNight,
  single: AddedNight,
  { overheadS, stepS, bytesPerPx }: Pace,
): LongerSubs {
  const { table, kept } = night;
  const exposureS = table.exposureS[0];
  const raw = kept.length / table.rows;
  const keepRate = withoutPauses(night, single, overheadS);
  const keepInterval = predictedShare(keepRate, table.rows);
  const snrAt = (rate: number) =>
    Math.sqrt((raw > 0 ? (depthPerClock(night, overheadS) * rate) / raw : 0) / depthPerClock(single, overheadS));
  const filesPerHour = 3600 / (exposureS + overheadS);
  const middle = (of: ArrayLike<number>) => median(kept.map((row) => of[row]));
  return {
    times: k,
    exposureS,
    subs: table.rows,
    kept: kept.length,
    keepRate,
    keepInterval,
    fwhmPx: middle(table.fwhmPx),
    rotationBlurPx: middle(table.rotationBlurPx),
    snrPerClock: snrAt(keepRate),
    snrInterval: k === 1 ? { low: 1, high: 1 } : { low: snrAt(keepInterval.low), high: snrAt(keepInterval.high) },
    filesPerHour,
    bytesPerHour: filesPerHour * bytesOfSub(table.width[0], table.height[0], bytesPerPx),
    stepS,
  };
}

/** Share kept of another n subs, 5 to 95 of 100 cases. */
function predictedShare(rate: number, n: number): Interval {
  const next = betaBinomial(n, rate * n + 0.5, (1 - rate) * n + 0.5);
  return { low: betaBinomialQuantile(next, 0.05) / n, high: betaBinomialQuantile(next, 0.95) / n };
}

/**
 * The keep rate without the pauses between the parts: gusts last for seconds, and meet parts that a longer sub would
 * not have met twice. Of the hazard that grows with the length (-ln of the keep rate), the part t / (t + o) is the
 * exposures' own. Knocks are sudden: those in a pause spoil nothing, and none is counted twice.
 */
function withoutPauses(night: AddedNight, single: AddedNight, overheadS: number): number {
  const [knocks, knocksBefore] = [knockShare(night), knockShare(single)];
  const rate = night.kept.length / night.table.rows / (1 - knocks);
  const before = single.kept.length / single.table.rows / (1 - knocksBefore);
  if (!(rate > 0 && before > 0)) return night.kept.length / night.table.rows;
  const subS = single.table.exposureS[0];
  return Math.min(1, before * (rate / before) ** (subS / (subS + overheadS)) * (1 - knocks));
}

/** Share of subs that were dropped and had a knock. */
function knockShare({ table, added }: AddedNight): number {
  return added.filter(({ knocked }, row) => knocked && table.verdict[row] === "drop").length / table.rows;
}

/** Sum of (light / noise)^2 of the kept subs over the clock time of all. */
function depthPerClock({ table, added, kept }: AddedNight, overheadS: number): number {
  const squares = kept.reduce((sum, row) => {
    const known = added[row].light > 0 ? added[row].light : table.transparency[row];
    const add = ((Number.isFinite(known) ? known : 1) * (table.exposureS[row] / table.noiseAdu[row])) ** 2;
    return sum + (Number.isFinite(add) ? add : 0);
  }, 0);
  let clockS = 0;
  for (let row = 0; row < table.rows; row++) clockS += table.exposureS[row] + overheadS;
  return squares / clockS;
}

/** From the start of one sub to the next, s: the median within the nights. */
function usualStepS(table: FrameTable, rows: readonly number[]): number {
  return median(
    nightsOf(table, rows).flatMap(({ rows: all }) =>
      all.slice(1).map((row, i) => (startMs(table, row) - startMs(table, all[i])) / 1000),
    ),
  );
}

/** Runs of subs of one exposure that follow each other without a long pause. */
function runsOf(table: FrameTable, rows: readonly number[], stepS: number): number[][] {
  const runs: number[][] = [];
  for (const night of nightsOf(table, rows)) {
    let run: number[] = [];
    for (const row of night.rows) {
      const last = run.at(-1);
      const joins =
        last === undefined ||
        (table.exposureS[row] === table.exposureS[last] &&
          !(stepS > mostStepS) &&
          !((startMs(table, row) - startMs(table, last)) / 1000 > 2.5 * stepS + 30));
      if (!joins) {
        runs.push(run);
        run = [];
      }
      run.push(row);
    }
    if (run.length > 0) runs.push(run);
  }
  return runs;
}
