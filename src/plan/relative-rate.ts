import { quantileSorted } from "../numbers/quantiles.js";
import { transmission } from "../sky/extinction.js";
import { nanolambertOfMag } from "../sky/nanolambert.js";
import { type SkyConditions, type SkyModel, skyBrightness } from "../sky/sky-brightness.js";
import type { FrameTable } from "../terms/frame-table.js";
import { isKept, nightsOf } from "./nights.js";

/** What altitude, Moon and twilight do to the depth gained per second in one filter. */
export interface RateTerms {
  readonly sky: SkyModel;
  /**
   * Read noise's part of a sub's variance under the dark zenith, 0 to 1 (`NoiseModel.readShare`): what of the noise
   * does not grow with the sky. Large in narrow filters, which is why they bear moonlight.
   */
  readonly readShare: number;
}

/**
 * Depth gained per second against the dark zenith: T^2 / [(1 - r) B/B0 + r], with T the light that the air lets
 * through, B the
 * sky and r the read noise's share.
 * @param sky - airmass and all that the sky model needs; a `SkyPlace` is one
 * @returns 0 below the horizon or with the Sun up
 */
export function relativeRate(
  sky: SkyConditions & { readonly airmass: number },
  { sky: model, readShare }: RateTerms,
): number {
  const { magArcsec2 } = skyBrightness(sky, model);
  const through = transmission(model.extinctionMagPerAirmass, sky.airmass - 1);
  const brighter = nanolambertOfMag(magArcsec2) / nanolambertOfMag(model.darkZenithMag);
  const rate = through ** 2 / ((1 - readShare) * brighter + readShare);
  return Number.isFinite(rate) ? rate : 0;
}

/** How the yield went with altitude. */
export interface AltitudeYield {
  readonly bins: readonly {
    readonly fromDeg: number;
    readonly toDeg: number;
    readonly subs: number;
    readonly kept: number;
    /** Effective integration of the kept over the exposures of all, against the mean of the same nights. */
    readonly yield: number;
  }[];
  /**
   * Lower edge of the lowest bin from which upward every bin yields at least half of the best; NaN with fewer than
   * three bins.
   */
  readonly paysAboveDeg: number;
}

const binDeg = 5;
const fewestSubs = 20;

/**
 * Yield by altitude in bins of 5 degrees with at least 20 subs each. Each sub is held against its own night, so that a
 * clouded night does not speak against the altitudes at which it was spent.
 */
export function altitudeYield(table: FrameTable, rows: readonly number[]): AltitudeYield {
  const byBin = new Map<number, { subs: number; kept: number; got: number; usual: number }>();
  for (const night of nightsOf(table, rows)) {
    const gain = (row: number) => (isKept(table, row) ? table.effectiveExposureS[row] || 0 : 0);
    const exposed = night.rows.reduce((sum, row) => sum + (table.exposureS[row] || 0), 0);
    const nightly = night.rows.reduce((sum, row) => sum + gain(row), 0) / exposed;
    for (const row of night.rows) {
      const bin = Math.floor(table.altitudeDeg[row] / binDeg);
      if (!Number.isFinite(bin) || !(nightly > 0)) continue;
      const sums = byBin.get(bin) ?? { subs: 0, kept: 0, got: 0, usual: 0 };
      sums.subs++;
      if (isKept(table, row)) sums.kept++;
      sums.got += gain(row);
      sums.usual += nightly * table.exposureS[row];
      byBin.set(bin, sums);
    }
  }
  const bins = [...byBin]
    .filter(([, { subs }]) => subs >= fewestSubs)
    .sort(([a], [b]) => a - b)
    .map(([bin, { subs, kept, got, usual }]) => ({
      fromDeg: bin * binDeg,
      toDeg: (bin + 1) * binDeg,
      subs,
      kept,
      yield: got / usual,
    }));
  if (bins.length < 3) return { bins, paysAboveDeg: Number.NaN };
  const best = quantileSorted(
    bins.map((bin) => bin.yield).sort((a, b) => a - b),
    // The best of a few bins flatters; the upper quartile stands for it.
    0.75,
  );
  let paysAboveDeg = bins[bins.length - 1].fromDeg;
  for (let i = bins.length - 1; i >= 0 && bins[i].yield >= best / 2; i--) paysAboveDeg = bins[i].fromDeg;
  return { bins, paysAboveDeg };
}
