import { median } from "../numbers/quantiles.js";
import type { FrameTable } from "../terms/frame-table.js";
import { limitingMagnitude, limitingSurfaceMag, noiseFwhmPx } from "./ccd-equation.js";
import { isKept, type Night, nightsOf, overheadOf } from "./nights.js";
import type { NoiseModel } from "./noise-model.js";

/** What one night brought in one filter. */
export interface NightYield {
  /** Start of the night's first sub in any filter, Unix milliseconds UTC; NaN where no sub has a time. */
  readonly firstMs: number;
  readonly subs: number;
  readonly kept: number;
  /** Usual exposure of a sub, s. */
  readonly exposureS: number;
  /** Exposures of the kept subs, s. */
  readonly keptExposureS: number;
  /** Effective integration of the kept subs, s. */
  readonly effectiveS: number;
  /** Exposures of all subs and the pauses between them, s. */
  readonly clockS: number;
  /** Median altitude of the subs, degrees; NaN where they are not placed. */
  readonly altitudeDeg: number;
  readonly rows: readonly number[];
}

/** What a target has got in one filter so far. */
export interface FilterDepth {
  readonly target: string;
  readonly filter: string;
  readonly filterKind: string;
  readonly nights: readonly NightYield[];
  readonly subs: number;
  readonly kept: number;
  /** Exposures of the kept subs, s. */
  readonly exposureS: number;
  /** Exposure under the best conditions that would give the same depth, s. */
  readonly effectiveS: number;
  /** Effective integration over clock time. */
  readonly yield: number;
  /** Signal over noise of the stack of the kept subs against one sub under the best conditions (best weights). */
  readonly snrOfOneSub: number;
  /** The same stack without weights, as most are made. */
  readonly snrEqualWeights: number;
  /** Median FWHM of the kept subs, px. */
  readonly fwhmPx: number;
  readonly pixelScaleArcsec: number;
  /** Row numbers of all light frames. */
  readonly rows: readonly number[];
}

/**
 * What has been reached, by target and filter, in the order of the table. Targets are told apart by name, without
 * case.
 * @example
 * ```ts
 * import { depthReached } from "nightyield";
 * for (const { target, filter, kept, effectiveS } of depthReached(table)) console.log(target, filter, kept, effectiveS / 3600);
 * ```
 */
export function depthReached(table: FrameTable): FilterDepth[] {
  const sets = new Map<string, number[]>();
  for (let row = 0; row < table.rows; row++) {
    if (table.kind[row] !== "light") continue;
    const key = JSON.stringify([table.target[row].trim().toLowerCase(), table.filter[row]]);
    const set = sets.get(key);
    if (set === undefined) sets.set(key, [row]);
    else set.push(row);
  }
  // Nights are those of the table: a filter that was used at dusk and at dawn had one night, not two.
  const all = nightsOf(table);
  return [...sets.values()].map((rows) => filterDepth(table, rows, all));
}

function filterDepth(table: FrameTable, rows: readonly number[], all: readonly Night[]): FilterDepth {
  const overheadS = overheadOf(table, rows).overheadS || 0;
  const own = new Set(rows);
  const nights = all
    .map((night) => ({ ...night, rows: night.rows.filter((row) => own.has(row)) }))
    .filter((night) => night.rows.length > 0)
    .map((night) => nightYield(table, night, overheadS));
  const kept = rows.filter((row) => isKept(table, row));
  const sum = (of: (night: NightYield) => number) => nights.reduce((total, night) => total + of(night), 0);
  const weights = kept.map((row) => table.weight[row]).filter((weight) => weight > 0);
  const exposureS = median(kept.map((row) => table.exposureS[row]));
  const effectiveS = sum((night) => night.effectiveS);
  const [first] = rows;
  return {
    target: table.target[first],
    filter: table.filter[first],
    filterKind: table.filterKind[first],
    nights,
    subs: rows.length,
    kept: kept.length,
    exposureS: sum((night) => night.keptExposureS),
    effectiveS,
    yield: effectiveS / sum((night) => night.clockS),
    snrOfOneSub: Math.sqrt(effectiveS / exposureS),
    // Equal weights after scaling to equal light: n / sqrt(sum of variances), a variance being 1 / weight.
    snrEqualWeights: weights.length / Math.sqrt(weights.reduce((total, weight) => total + 1 / weight, 0)),
    fwhmPx: median(kept.map((row) => table.fwhmPx[row])),
    pixelScaleArcsec: median(kept.map((row) => table.pixelScaleArcsec[row])),
    rows,
  };
}

function nightYield(table: FrameTable, night: Night, overheadS: number): NightYield {
  const kept = night.rows.filter((row) => isKept(table, row));
  const sum = (of: ArrayLike<number>, over: readonly number[]) =>
    over.reduce((total, row) => total + (of[row] || 0), 0);
  const effective = kept.map((row) =>
    Number.isFinite(table.effectiveExposureS[row]) ? table.effectiveExposureS[row] : table.exposureS[row],
  );
  return {
    firstMs: night.firstMs,
    subs: night.rows.length,
    kept: kept.length,
    exposureS: median(night.rows.map((row) => table.exposureS[row])),
    keptExposureS: sum(table.exposureS, kept),
    effectiveS: effective.reduce((total, s) => total + s, 0),
    clockS: sum(table.exposureS, night.rows) + night.rows.length * overheadS,
    altitudeDeg: median(night.rows.map((row) => table.altitudeDeg[row])),
    rows: night.rows,
  };
}

/** Limits of the stack so far. NaN where noise model or zero point do not allow a number. */
export interface StackLimits {
  /** Star at 5 times the noise. */
  readonly starMag: number;
  /** Extended light at 3 times the noise, averaged over 10" x 10". */
  readonly surfaceMag: number;
}

/**
 * How faint the stack goes.
 * @param zeroPointMag - magnitude of a star that gives 1 e-/s in the best subs, air included; the user's, or from
 * catalogue stars
 * @example
 * ```ts
 * import { depthReached, noiseModels, openNight, stackLimits } from "nightyield";
 * const { table } = await openNight("nightyield-out/march14");
 * const [depth] = depthReached(table);
 * const noise = noiseModels(table, { electronsPerAdu: 1.3, readNoiseE: 1.7 }).find(({ filter }) => filter === depth.filter);
 * if (noise !== undefined) console.log(stackLimits(depth, noise, 20.5));
 * ```
 */
export function stackLimits(depth: FilterDepth, noise: NoiseModel, zeroPointMag: number): StackLimits {
  const input = {
    zeroPointMag,
    backgroundEPerS: noise.backgroundEPerS,
    readNoiseE: noise.readNoiseE?.value ?? Number.NaN,
    subS: noise.exposureS,
    subs: depth.effectiveS / noise.exposureS,
  };
  const { pixelScaleArcsec } = depth;
  const fwhmPx = noiseFwhmPx(depth.fwhmPx);
  return {
    starMag: limitingMagnitude({ ...input, fwhmPx, snr: 5 }),
    surfaceMag: limitingSurfaceMag({ ...input, snr: 3, pixelScaleArcsec, areaArcsec2: 100 }),
  };
}

/** How the noise of a real stack fell as subs were added. */
export interface NoiseFall {
  /** Exponent b of noise ~ n^b; -0.5 when nothing but random noise is left. */
  readonly exponent: number;
  /** Measured noise at the last count over what 1/sqrt(n) from the first count predicts; 1 is ideal. */
  readonly excess: number;
}

/**
 * Compares the noise of stacks of growing size with 1/sqrt(n), by a least-squares line through the logarithms.
 * @param counts - subs in each stack, rising
 * @param noise - noise of each stack, any unit
 * @example
 * ```ts
 * import { noiseFall } from "nightyield";
 * console.log(noiseFall([1, 4, 16], [8, 4, 2]).exponent); // -0.5
 * ```
 */
export function noiseFall(counts: ArrayLike<number>, noise: ArrayLike<number>): NoiseFall {
  const n = counts.length;
  if (n < 2) return { exponent: Number.NaN, excess: Number.NaN };
  const x = Array.from(counts, Math.log);
  const y = Array.from(noise, Math.log);
  const mean = (of: readonly number[]) => of.reduce((sum, v) => sum + v, 0) / n;
  const [mx, my] = [mean(x), mean(y)];
  const xx = x.reduce((sum, v) => sum + (v - mx) ** 2, 0);
  const xy = x.reduce((sum, v, i) => sum + (v - mx) * (y[i] - my), 0);
  return { exponent: xy / xx, excess: (noise[n - 1] / noise[0]) * Math.sqrt(counts[n - 1] / counts[0]) };
}
