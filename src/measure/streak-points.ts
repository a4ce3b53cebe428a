import type { Background } from "./background.js";
import type { SumPlane } from "./frame-buffers.js";
import { axesOf, type Star, starFlags } from "./star.js";

/** Places of a plane that are brighter than the sky and do not belong to a star. */
export interface Points {
  readonly x: Float64Array;
  readonly y: Float64Array;
  /** 1 where a star's light hides the sky, one value a cell. */
  readonly starlit: Uint8Array;
  /** Cells across and down. */
  readonly width: number;
  readonly height: number;
}

/** Covariance of the typical star, pixels of the plane. */
export interface Typical {
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
}

/**
 * True when a star has the shape of the frame's stars. Pieces of a streak are found as stars too, but drawn out along
 * it, or without a shape.
 */
export function isCompact(star: Star, typical: Typical): boolean {
  if ((star.flags & starFlags.noShape) !== 0) return false;
  const { major, minor } = axesOf(star.xx, star.xy, star.yy);
  const usual = axesOf(typical.xx, typical.xy, typical.yy);
  const drawnOut = major / minor > 2.5 * (usual.major / usual.minor);
  return !drawnOut && (major < 2 * usual.major || (star.flags & starFlags.saturated) !== 0);
}

/**
 * Collects the places that stand out of the sky, outside of stars.
 * @param plane - sums of 4 x 4 pixels of the frame
 * @param standsOut - by how many sigma of such a sum
 * @param stars - in pixels of the frame
 */
export function streakPoints(
  plane: SumPlane,
  background: Background,
  standsOut: number,
  stars: readonly Star[],
  typical: Typical,
): Points {
  const { width, height, values } = plane;
  const starlit = new Uint8Array(width * height);
  for (const star of stars) if (isCompact(star, typical)) maskStar(starlit, plane, star, typical);
  const x: number[] = [];
  const y: number[] = [];
  for (let row = 1; row < height - 1; row++)
    for (let block = 0; block < width; block += 16) {
      const sky = background.level.at(2 * block + 16, 2 * row + 0.5);
      const sigma = background.sigma.within(2 * block + 16, 2 * row + 0.5);
      const threshold = 4 * sky + 2 * standsOut * sigma;
      for (let column = Math.max(1, block), end = Math.min(width - 1, block + 16); column < end; column++) {
        const at = row * width + column;
        if (!(values[at]! > threshold) || starlit[at] === 1) continue;
        x.push(column);
        y.push(row);
      }
    }
  return { x: Float64Array.from(x), y: Float64Array.from(y), starlit, width, height };
}

/** Marks where a star's light, with wide wings, is more than half the noise of a pixel. */
function maskStar(starlit: Uint8Array, { width, height }: SumPlane, star: Star, typical: Typical): void {
  const alpha2 = 4.2 * Math.sqrt(Math.max(star.xx * star.yy - star.xy ** 2, typical.xx * typical.yy - typical.xy ** 2));
  const boost = (star.flags & starFlags.saturated) !== 0 ? 4 : 1;
  const bright = Math.max(2, (2 * boost * star.peak) / star.sigma) ** 0.4;
  const stretch = axesOf(star.xx, star.xy, star.yy);
  // Around a saturated star lie spikes, halos and columns of spilt charge.
  const wider = (star.flags & starFlags.saturated) !== 0 ? 2.5 : 1;
  const reach = (wider * Math.sqrt(alpha2 * bright * (stretch.major / stretch.minor)) + 4) / 4;
  const x = (star.x - 1.5) / 4;
  const y = (star.y - 1.5) / 4;
  for (let row = Math.max(0, Math.ceil(y - reach)); row <= Math.min(height - 1, y + reach); row++) {
    const half = Math.sqrt(Math.max(0, reach * reach - (row - y) ** 2));
    const from = Math.max(0, Math.ceil(x - half));
    const to = Math.min(width, Math.floor(x + half) + 1);
    if (to > from) starlit.fill(1, row * width + from, row * width + to);
  }
}
