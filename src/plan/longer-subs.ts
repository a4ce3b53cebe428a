import { gradeNight } from "../grade/grade-night.js";
import type { Limits } from "../grade/limits.js";
import { type Interval, wilsonInterval } from "../numbers/proportion-intervals.js";
import { median } from "../numbers/quantiles.js";
import { type FrameRow, type FrameTable, frameRow, fromRows } from "../terms/frame-table.js";
import { bytesOfSub } from "./card-space.js";
import { nightsOf, overheadOf, startMs } from "./nights.js";
import { meanMoments, momentsOf, shapeOf } from "./star-shape.js";

/** What is known besides the table. */
export interface LongerOptions {
  /**
   * Read noise in ADU (read noise in e- over e-/ADU): what a longer sub saves. Left out: taken as nothing, which is
   * the worst case for long subs.
   */
  readonly readNoiseAdu?: number;
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
  /** Kept of all, less what fell into the pauses between the parts, with a 90 % interval (Wilson). */
  readonly keepRate: number;
  readonly keepInterval: Interval;
  /** Median FWHM of the kept, px. */
  readonly fwhmPx: number;
  /** Median blur of corners by field rotation, px. */
  readonly rotationBlurPx: number;
  /** Signal over noise of the stack of the kept per square root of clock time, relative to the subs as they are. */
  readonly snrPerClock: number;
  /** Subs of the same night per clock hour. */
  readonly filesPerHour: number;
  readonly bytesPerHour: number;
}

/**
 * Adds consecutive subs 2, 3, 4 ... at a time as if they had been one exposure, grades the results as a night of
 * their own,
 * and compares what each length would have brought. A sum carries the events of all its parts; its noise lacks the
 * read-outs that would
 * not have happened; its stars are drawn out by the drift and rotation of the longer time; the pauses between its
 * parts are
 * given back. Only runs without a gap are added; what is left over at the end of a run is left out.
 * @param rows - light frames of one target, filter, exposure and gain
 * @param times - whole numbers; 1 comes first, added when it is missing
 */
export function longerSubs(
  table: FrameTable,
  rows: readonly number[],
  times: readonly number[] = [1, 2, 3, 4],
  options: LongerOptions = {},
): LongerSubs[] {
  const lengths = [...new Set([1, ...times])].filter((k) => Number.isInteger(k) && k >= 1).sort((a, b) => a - b);
  const overheadS = overheadOf(table, rows).overheadS || 0;
  const drift = driftPxPerS(table, rows);
  const runs = runsOf(table, rows, overheadS);
  const results = lengths.map((k) => {
    const merged = fromRows(
      runs.flatMap((run) =>
        Array.from({ length: Math.floor(run.length / k) }, (_, i) =>
          mergedRow(table, run.slice(i * k, (i + 1) * k), drift, options.readNoiseAdu ?? 0),
        ),
      ),
    );
    return { k, merged: graded(merged, options) };
  });
  const single = results[0];
  if (single.merged.rows === 0) return [];
  return results
    .filter(({ merged }) => merged.rows > 0)
    .map(({ k, merged }) => resultOf(k, merged, single.merged, overheadS, options.bytesPerPx ?? 2));
}

function graded(table: FrameTable, { limits }: LongerOptions): FrameTable {
  return gradeNight(table, limits === undefined ? {} : { limits }).table;
}

function resultOf(
  k: number,
  merged: FrameTable,
  single: FrameTable,
  overheadS: number,
  bytesPerPx: number,
): LongerSubs {
  const kept = keptRows(merged);
  const exposureS = merged.exposureS[0];
  const raw = kept.length / merged.rows;
  const keepRate = withoutPauses(raw, keptRows(single).length / single.rows, single.exposureS[0], overheadS);
  const depth = raw > 0 ? (depthPerClock(merged, overheadS) * keepRate) / raw : 0;
  const filesPerHour = 3600 / (exposureS + overheadS);
  const middle = (of: ArrayLike<number>) => median(kept.map((row) => of[row]));
  return {
    times: k,
    exposureS,
    subs: merged.rows,
    kept: kept.length,
    keepRate,
    keepInterval: wilsonInterval(keepRate * merged.rows, merged.rows, 0.9),
    fwhmPx: middle(merged.fwhmPx),
    rotationBlurPx: middle(merged.rotationBlurPx),
    snrPerClock: Math.sqrt(depth / depthPerClock(single, overheadS)),
    filesPerHour,
    bytesPerHour: filesPerHour * bytesOfSub(merged.width[0], merged.height[0], bytesPerPx),
  };
}

/**
 * The keep rate without the pauses between the parts, in which an event spoils a sum but would not have met a longer
 * sub more often:
 * of the hazard that grows with the length (-ln of the keep rate), the part t / (t + o) is the exposures' own.
 */
function withoutPauses(keepRate: number, single: number, subS: number, overheadS: number): number {
  if (!(keepRate > 0 && single > 0)) return keepRate;
  return single * (keepRate / single) ** (subS / (subS + overheadS));
}

/** Subs in the stack; where there were too few to judge, all of them. */
function keptRows(table: FrameTable): number[] {
  const rows = Array.from({ length: table.rows }, (_, row) => row);
  return rows.filter((row) => table.verdict[row] !== "drop");
}

/** Sum of (light / noise)^2 of the kept subs over the clock time of all. */
function depthPerClock(table: FrameTable, overheadS: number): number {
  const squares = keptRows(table).reduce((sum, row) => {
    const light = Number.isFinite(table.transparency[row]) ? table.transparency[row] : 1;
    const add = ((light * table.exposureS[row]) / table.noiseAdu[row]) ** 2;
    return sum + (Number.isFinite(add) ? add : 0);
  }, 0);
  let clockS = 0;
  for (let row = 0; row < table.rows; row++) clockS += table.exposureS[row] + overheadS;
  return squares / clockS;
}

/** Runs of subs of one exposure that follow each other without a pause. */
function runsOf(table: FrameTable, rows: readonly number[], overheadS: number): number[][] {
  const runs: number[][] = [];
  for (const night of nightsOf(table, rows)) {
    let run: number[] = [];
    for (const row of night.rows) {
      const last = run.at(-1);
      const pauseS =
        last === undefined ? 0 : (startMs(table, row) - startMs(table, last)) / 1000 - table.exposureS[last];
      const joins =
        last === undefined ||
        (table.exposureS[row] === table.exposureS[last] && !(pauseS > overheadS + table.exposureS[row] + 5));
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

/** Slow movement of the field, px/s: the median step between neighbours, so that dithering does not count. */
function driftPxPerS(table: FrameTable, rows: readonly number[]): readonly [number, number] {
  const [x, y]: [number[], number[]] = [[], []];
  for (const night of nightsOf(table, rows))
    for (let i = 1; i < night.rows.length; i++) {
      const [a, b] = [night.rows[i - 1], night.rows[i]];
      const seconds = (startMs(table, b) - startMs(table, a)) / 1000;
      if (!(seconds > 0 && seconds < 3 * table.exposureS[a] + 60)) continue;
      x.push((table.shiftXPx[b] - table.shiftXPx[a]) / seconds);
      y.push((table.shiftYPx[b] - table.shiftYPx[a]) / seconds);
    }
  return [median(x) || 0, median(y) || 0];
}

function mergedRow(
  table: FrameTable,
  parts: readonly number[],
  drift: readonly [number, number],
  readNoiseAdu: number,
): Partial<FrameRow> {
  const k = parts.length;
  const first = frameRow(table, parts[0]);
  if (k === 1) return { ...first, verdict: "", symptoms: "", cause: "", causeProbability: Number.NaN };
  const values = (of: ArrayLike<number>) => parts.map((row) => of[row]);
  const sum = (of: ArrayLike<number>) => values(of).reduce((total, v) => total + v, 0);
  const mean = (of: ArrayLike<number>) => sum(of) / k;
  const exposureS = sum(table.exposureS);
  // Second moments of a sum are the mean of its parts', weighted by light. Uniform trails of length L have the
  // variance L^2 / 12.
  const light = values(table.transparency).map((t) => (Number.isFinite(t) ? t : 1));
  const { xx, xy, yy } = meanMoments(
    parts.map((row) => momentsOf(table.fwhmPx[row], table.eccentricity[row], table.elongationAngleDeg[row])),
    light,
  );
  const longer = (exposureS ** 2 - first.exposureS ** 2) / 12;
  const [vx, vy] = drift;
  const shape = shapeOf({ xx: xx + longer * vx * vx, xy: xy + longer * vx * vy, yy: yy + longer * vy * vy });
  return {
    ...first,
    exposureS,
    verdict: "",
    symptoms: "",
    cause: "",
    causeProbability: Number.NaN,
    backgroundAdu: sum(table.backgroundAdu),
    // Variances add; k - 1 of the k read-outs would not have been.
    noiseAdu: Math.sqrt(
      Math.max(1e-12, parts.reduce((total, row) => total + table.noiseAdu[row] ** 2, 0) - (k - 1) * readNoiseAdu ** 2),
    ),
    backgroundGradient: Math.sqrt(k) * mean(table.backgroundGradient),
    starCount: mean(table.starCount),
    ...shape,
    fwhmArcsec: shape.fwhmPx * first.pixelScaleArcsec,
    hfrPx: (mean(table.hfrPx) * shape.fwhmPx) / mean(table.fwhmPx),
    fieldSpread: mean(table.fieldSpread),
    saturatedFraction: Math.max(...values(table.saturatedFraction)),
    streaks: sum(table.streaks),
    blockedFraction: mean(table.blockedFraction),
    transparency: mean(table.transparency),
    rotationBlurPx: k * mean(table.rotationBlurPx),
    altitudeDeg: mean(table.altitudeDeg),
    airmass: mean(table.airmass),
    sunAltitudeDeg: Math.max(...values(table.sunAltitudeDeg)),
    moonAltitudeDeg: Math.max(...values(table.moonAltitudeDeg)),
  };
}
