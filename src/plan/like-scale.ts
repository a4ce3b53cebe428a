import { median } from "../numbers/quantiles.js";
import { extinctionAtHeight } from "../sky/extinction.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { OwnScale } from "./combine.js";
import type { FilterDepth } from "./depth.js";
import { isKept } from "./nights.js";
import { usualOf } from "./usual.js";

/** What effective integration of one target is worth on the scale of another. */
export interface LikeScale {
  /** An effective second of the reference is worth so many here; 1 where it could not be told. */
  readonly factor: number;
  /** Why it could not be told; null: it was. */
  readonly because: OwnScale["because"] | null;
}

/** A target in one filter, and the table that it stands in. */
export interface InTable {
  readonly table: FrameTable;
  readonly depth: FilterDepth;
}

/**
 * Carries the effective integration of a reference target over to another one in the same filter. Each counts against its
 * own best subs; what these are worth is compared by exposure / noise^2, and by the light that the clear air let through at
 * their airmass. The same camera, gain and filter are taken for granted, and clear air in both.
 * @param heightM - of the site, for the extinction
 * @example
 * ```ts
 * import { depthReached, likeScale } from "nightyield";
 * const [depth] = depthReached(table);
 * console.log(likeScale({ table, depth }, { table, depth }).factor); // 1: the same stack
 * ```
 */
export function likeScale(reference: InTable, own: InTable, heightM = 0): LikeScale {
  const [there, here] = [reference, own].map(bestOf);
  if (!Object.is(there.gain, here.gain)) return { factor: 1, because: "gain" };
  if (there.width !== here.width || there.height !== here.height) return { factor: 1, because: "image-size" };
  const byNoise = there.quality / here.quality;
  if (!Number.isFinite(byNoise)) return { factor: 1, because: "noise-not-measured" };
  // Signal goes with the light, time for a signal over noise with its square.
  const magnitudes = extinctionAtHeight(heightM) * (there.airmass - here.airmass);
  const byAir = Number.isFinite(magnitudes) ? 10 ** (-0.8 * magnitudes) : 1;
  return { factor: byNoise * byAir, because: null };
}

/** Camera setting of most subs, and what a second of the best of them is worth, s/ADU^2. */
function bestOf({ table, depth }: InTable) {
  const usual = (of: ArrayLike<number>) => usualOf(depth.rows.map((row) => of[row]));
  const rows = depth.rows.filter(
    (row) =>
      isKept(table, row) && table.weight[row] >= 0.8 && table.noiseAdu[row] > 0 && table.effectiveExposureS[row] > 0,
  );
  return {
    gain: usual(table.gainSetting),
    width: usual(table.width),
    height: usual(table.height),
    // Where several nights were put together, effective exposures were scaled to the best of them; weights were not.
    quality: median(
      rows.map(
        (row) =>
          ((table.exposureS[row] / table.noiseAdu[row] ** 2) * table.exposureS[row] * table.weight[row]) /
          table.effectiveExposureS[row],
      ),
    ),
    airmass: median(rows.map((row) => table.airmass[row])),
  };
}
