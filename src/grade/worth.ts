import { quantile } from "../numbers/quantiles.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { Group } from "./groups.js";
import type { Limits } from "./limits.js";
import { type MatchedLight, type Starlight, starlightOf } from "./starlight.js";

/**
 * What each sub of a group brings to the stack once it is scaled to equal starlight. Arrays run over the rows of the
 * group; NaN: not measured.
 */
export interface Worth {
  readonly starlight: Starlight;
  /** Variance of the background of the scaled sub, noise^2 / starlight^2; 1 for the best tenth. Infinite without light. */
  readonly variance: Float64Array;
  /** Inverse of `variance`, less what is blocked: the weight that is best for extended light. */
  readonly weight: Float64Array;
  /** What the sub adds to the figure that counts, per weight: (FWHM0 / FWHM)^fwhmPower, of stars as recorded. */
  readonly signal: Float64Array;
  /** FWHM in the units of the table, px. */
  readonly fwhmPx: Float64Array;
  /** Part of the group's field that the sub shows; 1 where its shift is not known, or the group has no common field. */
  readonly overlap: Float64Array;
  /** Nothing but too much noise and width can be wrong with it: it may be compared. */
  readonly whole: readonly boolean[];
  /** Fraction of the error of signal / variance. */
  readonly relativeError: Float64Array;
}

/** Typical relative errors of noise and width; the table does not carry their own. */
const noiseError = 0.01;
const widthError = 0.015;

/**
 * Worth of the subs of a group: weights are inverse variances of the flux-scaled subs (Fischer & Kochanski 1994, AJ 107,
 * 802). The measured noise stands for sky, dark and read noise together, so no pedestal and no gain have to be known;
 * all subs of a group have one exposure.
 */
export function worthOf(table: FrameTable, group: Group, limits: Limits, matched?: MatchedLight): Worth {
  const { rows } = group;
  const at = (column: ArrayLike<number>) => Float64Array.from(rows, (row) => column[row]);
  const starlight = starlightOf(table, group, limits, matched);
  const noise = at(table.noiseAdu);
  const blocked = at(table.blockedFraction).map((part) => (part > limits.blocked.symptom ? part : 0));
  const overlap = overlapsOf(table, group, starlight, limits);
  const whole = rows.map((_, i) => blocked[i] === 0 && !(overlap[i] < limits.overlap.drop));
  const raw = noise.map((n, i) => (n > 0 ? (n / starlight.light[i]) ** 2 : Number.NaN));
  const best = quantile(among(raw, whole), 0.1);
  const variance = raw.map((v) => v / best);
  const fwhmPx = at(table.fwhmPx);
  const recorded = fwhmPx.map(recordedWidth);
  const sharpest = quantile(among(recorded, whole), 0.1);
  const { fwhmPower } = limits.merit;
  // Where no width was measured there is nothing to say against it: too few stars are held against the starlight.
  const signal = recorded.map((width) => (width > 0 ? (sharpest / width) ** fwhmPower : 1));
  return {
    starlight,
    variance,
    // What is blocked adds nothing, and makes the background calmer than it is.
    weight: variance.map((v, i) => (blocked[i] > 0 ? Math.min(1, 1 / v) * (1 - blocked[i]) : 1 / v)),
    signal,
    fwhmPx,
    overlap,
    whole,
    relativeError: variance.map((_, i) => {
      const doubt = isDoubtfulMatch(table, rows[i], overlap[i], limits) ? 1 : 0;
      return Math.hypot(2 * starlight.relativeError[i] || 0, 2 * noiseError, fwhmPower * widthError, doubt);
    }),
  };
}

/** Width of stars in the pixels, px: a pixel adds the variance 1/12 px^2, that is 8 ln 2 / 12 to the FWHM squared. */
export const recordedWidth = (fwhmPx: number): number => Math.sqrt(fwhmPx * fwhmPx + (8 * Math.LN2) / 12);

/** Pieces of a streak may have been taken for stars when shift and starlight were found. */
const isDoubtfulMatch = (table: FrameTable, row: number, overlap: number, limits: Limits): boolean =>
  table.streaks[row] > 0 && overlap < limits.overlap.symptom;

/**
 * A group's field is where most of its subs point. Where no such field shows, because most subs with enough stars were
 * not matched or every few point elsewhere, the shifts tell nothing (the reference may be the odd one) and all are 1.
 */
function overlapsOf(table: FrameTable, { rows }: Group, starlight: Starlight, limits: Limits): Float64Array {
  const matched = starlight.from.map((from) => from === "stars");
  const overlap = Float64Array.from(rows, (row, i) => (matched[i] ? overlapOf(table, row) : 1));
  const counts = rows.map((row) => table.starCount[row]);
  const enough = Math.max(limits.starCount.symptom * quantile(counts, 0.5), 2 * limits.starCount.enough);
  const matchable = rows.flatMap((_, i) => (matched[i] || counts[i] > enough ? [i] : []));
  const together = matchable.filter((i) => matched[i] && overlap[i] >= limits.overlap.drop);
  return 2 * together.length > matchable.length ? overlap : overlap.fill(1);
}

/** Part of the group's field that a sub shows; 1 where its shift is not known. */
function overlapOf(table: FrameTable, row: number): number {
  const along = (shift: number, size: number) => Math.max(0, 1 - Math.abs(shift) / size);
  const overlap = along(table.shiftXPx[row], table.width[row]) * along(table.shiftYPx[row], table.height[row]);
  return Number.isNaN(overlap) ? 1 : overlap;
}

const among = (values: Float64Array, chosen: readonly boolean[]) => {
  const kept = values.filter((_, i) => chosen[i]);
  return kept.some(Number.isFinite) ? kept : values;
};
