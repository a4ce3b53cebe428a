import type { Background } from "./background.js";
import type { SumPlane } from "./frame-buffers.js";
import type { Workspace } from "./simd/workspace.js";
import { axesOf, type Star, starFlags } from "./star.js";

/** Cells of a row that share a threshold. */
const block = 16;

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
 * @param space - its arrays are used; `starlit` of the result is one of them
 */
export function streakPoints(
  plane: SumPlane,
  background: Background,
  standsOut: number,
  stars: readonly Star[],
  typical: Typical,
  space: Pick<Workspace, "kernels" | "starlit" | "places" | "lines">,
): Points {
  const { width, height, values } = plane;
  const cells = width * height;
  const starlit = space.starlit.subarray(0, cells).fill(0);
  const usual = axesOf(typical.xx, typical.xy, typical.yy);
  for (const star of stars) if (isCompact(star, typical)) maskStar(starlit, plane, star, usual);
  const { kernels, places, lines } = space;
  const fast = kernels !== null && values.buffer === places.buffer ? kernels : null;
  // Straight between the ends of a block, in the middles of its first cell and of the one after its last.
  const blocks = Math.ceil(width / block);
  const ends = Float64Array.from({ length: blocks + 1 }, (_, i) => 2 * block * i + 0.5);
  const levelAt = background.level.sampler(ends, "slope");
  const sigmaAt = background.sigma.sampler(
    ends.subarray(0, blocks).map((x) => x + block - 0.5),
    "constant",
  );
  const levels = new Float64Array(blocks + 1);
  const sigmas = new Float64Array(blocks);
  let found = 0;
  for (let row = 1; row < height - 1; row++) {
    levelAt(2 * row + 0.5, levels);
    sigmaAt(2 * row + 0.5, sigmas);
    for (let i = 0; i < blocks; i++) {
      const sky = 4 * levels[i]!;
      lines[3 * i] = sky;
      lines[3 * i + 1] = (4 * levels[i + 1]! - sky) / block;
      lines[3 * i + 2] = 2 * standsOut * sigmas[i]!;
    }
    found =
      fast === null
        ? brighterInRow(values, starlit, width, row, lines, places, found)
        : fast.brighterInRow(
            values.byteOffset,
            starlit.byteOffset,
            width,
            row,
            lines.byteOffset,
            places.byteOffset,
            found,
          );
  }
  const x = new Float64Array(found);
  const y = new Float64Array(found);
  for (let i = 0; i < found; i++) {
    x[i] = places[i]! % width;
    y[i] = Math.floor(places[i]! / width);
  }
  return { x, y, starlit, width, height };
}

function brighterInRow(
  values: Float32Array,
  starlit: Uint8Array,
  width: number,
  row: number,
  lines: Float64Array,
  places: Int32Array,
  found: number,
): number {
  for (let from = 0, line = 0; from < width; from += block, line += 3) {
    const sky = lines[line]!;
    const rise = lines[line + 1]!;
    const lift = lines[line + 2]!;
    for (let column = Math.max(1, from), end = Math.min(width - 1, from + block); column < end; column++) {
      const at = row * width + column;
      if (!(values[at]! > sky + rise * (column - from) + lift) || starlit[at] === 1) continue;
      places[found++] = at;
    }
  }
  return found;
}

/** Marks where a star's light, with wide wings, is more than half the noise of a pixel. */
function maskStar(
  starlit: Uint8Array,
  { width, height }: SumPlane,
  star: Star,
  usual: { readonly major: number; readonly minor: number },
): void {
  const saturated = (star.flags & starFlags.saturated) !== 0;
  const inNoise = Math.max(2, (2 * (saturated ? 4 : 1) * star.peak) / star.sigma);
  // inNoise ** 0.4, which takes several times as long.
  const bright = Math.exp(0.4 * Math.log(inNoise));
  // Around a saturated star lie spikes, halos and columns of spilt charge.
  const reach = (saturated ? 2.5 : 1) * Math.sqrt(4.2 * bright);
  // Of the star's own ellipse: variances along its axes, and cosine and sine of twice its direction.
  const middle = (star.xx + star.yy) / 2;
  const difference = (star.xx - star.yy) / 2;
  const spread = Math.sqrt(difference * difference + star.xy * star.xy);
  const cosine2 = spread > 0 ? difference / spread : 1;
  const sine2 = spread > 0 ? star.xy / spread : 0;
  const long = (reach * Math.max(Math.sqrt(middle + spread), usual.major) + 4) / 4;
  const short = (reach * Math.max(Math.sqrt(Math.max(0, middle - spread)), usual.minor) + 4) / 4;
  const long2 = long * long;
  const short2 = short * short;
  // The ellipse: along^2 / long^2 + across^2 / short^2 <= 1.
  const inverseXX = ((1 + cosine2) / long2 + (1 - cosine2) / short2) / 2;
  const inverseXY = (sine2 / 2) * (1 / long2 - 1 / short2);
  const tall = Math.sqrt(((1 - cosine2) * long2 + (1 + cosine2) * short2) / 2);
  const x = (star.x - 1.5) / 4;
  const y = (star.y - 1.5) / 4;
  for (let row = Math.max(0, Math.ceil(y - tall)); row <= Math.min(height - 1, y + tall); row++) {
    const dy = row - y;
    const middle = x - (inverseXY / inverseXX) * dy;
    const half = Math.sqrt(Math.max(0, (1 - (dy / tall) ** 2) / inverseXX));
    const from = Math.max(0, Math.ceil(middle - half));
    const to = Math.min(width, Math.floor(middle + half) + 1);
    // Shorter than what a call of fill() costs.
    for (let at = row * width + from, end = row * width + to; at < end; at++) starlit[at] = 1;
  }
}
