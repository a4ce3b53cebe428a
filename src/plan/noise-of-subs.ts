import { median, quantile } from "../numbers/quantiles.js";
import { theilSen } from "../numbers/theil-sen.js";
import type { FrameTable } from "../terms/frame-table.js";

/**
 * e-/ADU from how the variance grows with the level, between subs of one exposure: 1 / slope. Only where the sky
 * changed enough
 * for the slope to be known to a fifth.
 */
export function photonTransferGain(table: FrameTable, rows: readonly number[]): number {
  const usable = rows.filter(
    (row) => Number.isFinite(table.backgroundAdu[row]) && !(table.blockedFraction[row] > 0.02),
  );
  if (usable.length < 20) return Number.NaN;
  const order = usable.sort((a, b) => table.backgroundAdu[a] - table.backgroundAdu[b]);
  const variance = order.map((row) => table.noiseAdu[row] ** 2);
  if (!(quantile(variance, 0.95) / quantile(variance, 0.05) > 1.3)) return Number.NaN;
  // Medians of up to 60 groups of neighbours: fewer pairs, and single bad subs vanish.
  const perBin = Math.max(1, Math.floor(order.length / 60));
  const bins: { level: number; variance: number }[] = [];
  for (let i = 0; i + perBin <= order.length; i += perBin)
    bins.push({
      level: median(order.slice(i, i + perBin).map((row) => table.backgroundAdu[row])),
      variance: median(variance.slice(i, i + perBin)),
    });
  const slopeOf = (of: typeof bins) =>
    new Set(of.map(({ level }) => level)).size < 2
      ? Number.NaN
      : theilSen(
          of.map(({ level }) => level),
          of.map((bin) => bin.variance),
        ).slope;
  const slope = slopeOf(bins);
  const halves = [0, 1].map((odd) => slopeOf(bins.filter((_, i) => i % 2 === odd)));
  return slope > 0 && halves.every((half) => Math.abs(half / slope - 1) < 0.2) ? 1 / slope : Number.NaN;
}

/**
 * Level and variance at zero exposure, from medians of the shortest and the longest length, at least 1.5 times apart.
 */
export function lengthsOf(
  table: FrameTable,
  rows: readonly number[],
): { levelAtZero: number; varianceAtZero: number } | null {
  const byLength = new Map<number, number[]>();
  for (const row of rows) byLength.set(table.exposureS[row], [...(byLength.get(table.exposureS[row]) ?? []), row]);
  const usable = [...byLength].filter(([, of]) => of.length >= 3).sort(([a], [b]) => a - b);
  if (usable.length < 2) return null;
  const [shortS, short] = usable[0];
  const [longS, long] = usable[usable.length - 1];
  if (longS < 1.5 * shortS) return null;
  const atZero = (of: (row: number) => number) => {
    const [a, b] = [median(short.map(of)), median(long.map(of))];
    return a - ((b - a) * shortS) / (longS - shortS);
  };
  const varianceAtZero = atZero((row) => table.noiseAdu[row] ** 2);
  const levelAtZero = atZero((row) => table.backgroundAdu[row]);
  // The sky may have changed between the lengths; a negative variance says that it has.
  return varianceAtZero > 0 ? { levelAtZero, varianceAtZero } : null;
}
