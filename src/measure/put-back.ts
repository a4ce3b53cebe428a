import { smoothed } from "./find-peaks.js";
import type { SumPlane } from "./frame-buffers.js";
import { type Star, starFlags } from "./star.js";

/**
 * Puts a star back on its peak when its moments were drawn away, as by a brighter neighbour; its shape is not known then.
 * @param at - index of the peak in the sums
 * @param sigma - standard deviation of the typical star, pixels
 * @returns false: they were not
 */
export function putBack(star: Star, at: number, { values, width }: SumPlane, sigma: number): boolean {
  if ((star.flags & starFlags.saturated) !== 0) return false;
  const here = smoothed(values, at, width);
  // The top of a parabola through three sums.
  const top = (before: number, after: number) =>
    Math.max(-0.5, Math.min(0.5, (after - before) / (2 * (2 * here - before - after) || 1)));
  const dx = top(smoothed(values, at - 1, width), smoothed(values, at + 1, width));
  const dy = top(smoothed(values, at - width, width), smoothed(values, at + width, width));
  const x = 2 * ((at % width) + dx) + 0.5;
  const y = 2 * (Math.floor(at / width) + dy) + 0.5;
  if (!((star.x - x) ** 2 + (star.y - y) ** 2 > Math.max(1, sigma * sigma))) return false;
  star.x = x;
  star.y = y;
  star.xx = Number.NaN;
  star.xy = Number.NaN;
  star.yy = Number.NaN;
  star.flags |= starFlags.noShape;
  return true;
}
