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
 * True when a star has the shape of the frame's stars: in units of the typical star, not twice as wide in any direction
 * and not drawn out. Pieces of a streak are found as stars too, but drawn out along it, or without a shape. Trailed
 * stars are told from them by their direction.
 */
export function isCompact(star: Star, typical: Typical): boolean {
  if ((star.flags & starFlags.noShape) !== 0) return false;
  const { xx, xy, yy } = typical;
  const determinant = xx * yy - xy * xy;
  // Eigenvalues of the star's covariance in the frame where the typical star is round and of width 1.
  const half = (yy * star.xx - 2 * xy * star.xy + xx * star.yy) / determinant / 2;
  const product = Math.max(0, star.xx * star.yy - star.xy * star.xy) / determinant;
  const spread = Math.sqrt(Math.max(0, half * half - product));
  const drawnOut = half + spread > 2.5 ** 2 * (half - spread);
  return !drawnOut && (half + spread < 4 || (star.flags & starFlags.saturated) !== 0);
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
      // Straight between the ends of a block, in the middles of its first cell and of the one after its last.
      const sky = 4 * background.level.at(2 * block + 0.5, 2 * row + 0.5);
      const rise = (4 * background.level.at(2 * block + 32.5, 2 * row + 0.5) - sky) / 16;
      const lift = 2 * standsOut * background.sigma.within(2 * block + 16, 2 * row + 0.5);
      for (let column = Math.max(1, block), end = Math.min(width - 1, block + 16); column < end; column++) {
        const at = row * width + column;
        if (!(values[at]! > sky + rise * (column - block) + lift) || starlit[at] === 1) continue;
        x.push(column);
        y.push(row);
      }
    }
  return { x: Float64Array.from(x), y: Float64Array.from(y), starlit, width, height };
}

/** Marks where a star's light, with wide wings, is more than half the noise of a pixel. */
function maskStar(starlit: Uint8Array, { width, height }: SumPlane, star: Star, typical: Typical): void {
  const saturated = (star.flags & starFlags.saturated) !== 0;
  const bright = Math.max(2, (2 * (saturated ? 4 : 1) * star.peak) / star.sigma) ** 0.4;
  // Around a saturated star lie spikes, halos and columns of spilt charge.
  const reach = (saturated ? 2.5 : 1) * Math.sqrt(4.2 * bright);
  const own = axesOf(star.xx, star.xy, star.yy);
  const usual = axesOf(typical.xx, typical.xy, typical.yy);
  const long = (reach * Math.max(own.major, usual.major) + 4) / 4;
  const short = (reach * Math.max(own.minor, usual.minor) + 4) / 4;
  const cosine = Math.cos(own.angle);
  const sine = Math.sin(own.angle);
  // The ellipse: along^2 / long^2 + across^2 / short^2 <= 1.
  const inverseXX = (cosine / long) ** 2 + (sine / short) ** 2;
  const inverseXY = cosine * sine * (1 / long ** 2 - 1 / short ** 2);
  const tall = Math.hypot(sine * long, cosine * short);
  const x = (star.x - 1.5) / 4;
  const y = (star.y - 1.5) / 4;
  for (let row = Math.max(0, Math.ceil(y - tall)); row <= Math.min(height - 1, y + tall); row++) {
    const dy = row - y;
    const middle = x - (inverseXY / inverseXX) * dy;
    const half = Math.sqrt(Math.max(0, (1 - (dy / tall) ** 2) / inverseXX));
    const from = Math.max(0, Math.ceil(middle - half));
    const to = Math.min(width, Math.floor(middle + half) + 1);
    if (to > from) starlit.fill(1, row * width + from, row * width + to);
  }
}
