import { median } from "../numbers/quantiles.js";
import type { FrameBuffers } from "./frame-buffers.js";
import { fillHistogram, histogramRange } from "./mesh-histogram.js";
import { MeshMap } from "./mesh-map.js";
import { fitSky, type SkyFit, skyBins } from "./sky-histogram.js";

/** Side of a mesh of the background, in pixels of the frame. */
export const meshPx = 64;
/** A step between neighbouring meshes that no sky makes, in sigma of a sum. */
const steepest = 30;
/** A step that a sharp edge makes, and hardly any sky. */
const steep = 8;

/** The sky of a frame, in units of the 2 x 2 sums. */
export interface Background {
  /** Level of a sum. */
  readonly level: MeshMap;
  /** Scatter of a sum; Infinity where the level falls off a cliff. */
  readonly sigma: MeshMap;
  /** Level and scatter of each mesh as measured, before the medians over neighbours; NaN: none. */
  readonly meshLevel: Float64Array;
  readonly meshSigma: Float64Array;
  /** 1 for a mesh in which no sky was found: without values, constant, or out of range. */
  readonly empty: Uint8Array;
  /** Median of the meshes' levels and scatters; NaN when every mesh is empty (a constant frame has a level). */
  readonly medianLevel: number;
  readonly medianSigma: number;
}

/**
 * Sky level and noise on a grid of meshes of about 64 x 64 pixels.
 * @param wholeNumbers - true when pixels are integers, so that a bin must not be narrower than one step
 */
export function measureBackground({ sums, workspace }: FrameBuffers, wholeNumbers: boolean): Background {
  const side = meshPx / 2;
  const across = Math.max(1, Math.round(sums.width / side));
  const down = Math.max(1, Math.round(sums.height / side));
  const level = new Float64Array(across * down).fill(Number.NaN);
  const sigma = new Float64Array(across * down).fill(Number.NaN);
  const empty = new Uint8Array(across * down).fill(1);
  const constants: number[] = [];
  const range = histogramRange(sums, wholeNumbers);
  const { histogram } = workspace;
  const fit: SkyFit = { level: Number.NaN, sigma: Number.NaN };
  const fitMesh = (column: number, row: number, tiltX: number, tiltY: number) => {
    if (range === null) return;
    const fromX = Math.floor((column * sums.width) / across);
    const toX = Math.floor(((column + 1) * sums.width) / across);
    const fromY = Math.floor((row * sums.height) / down);
    const toY = Math.floor(((row + 1) * sums.height) / down);
    const values = (toX - fromX) * (toY - fromY);
    const first = fillHistogram(sums, fromX, toX, fromY, toY, range, tiltX, tiltY, workspace);
    const count = values - histogram[0]! - histogram[skyBins - 1]!;
    if (count < values / 4) return;
    if (histogram[first] === count) {
      constants.push(range.low + first * range.step);
      return;
    }
    fitSky(histogram, first, count, fit);
    if (!Number.isFinite(fit.level)) return;
    const mesh = row * across + column;
    level[mesh] = range.low + fit.level * range.step;
    sigma[mesh] = fit.sigma * range.step;
    empty[mesh] = 0;
  };
  const everyMesh = (visit: (column: number, row: number) => void) => {
    for (let row = 0; row < down; row++) for (let column = 0; column < across; column++) visit(column, row);
  };
  const mapOf = (values: Float64Array) => new MeshMap(across, down, sums.width, sums.height, values).filtered();
  everyMesh((column, row) => fitMesh(column, row, 0, 0));
  const flat = mapOf(level);
  const usual = median(sigma);
  everyMesh((column, row) => {
    const tiltX = flat.slope(column, row, 1, 0);
    const tiltY = flat.slope(column, row, 0, 1);
    const rise = side * Math.hypot(tiltX, tiltY);
    // A slope within the mesh would pass for noise. Steeper than any sky: left to closeCliffs.
    if (rise > 0.3 * usual && rise < steepest * usual && empty[row * across + column] === 0)
      fitMesh(column, row, tiltX, tiltY);
  });
  const levels = mapOf(level);
  const sigmas = mapOf(sigma);
  const medianSigma = median(sigmas.values);
  closeCliffs(levels, sigmas, medianSigma);
  const medianLevel = empty.includes(0) ? median(levels.values) : median(constants);
  return { level: levels, sigma: sigmas, meshLevel: level, meshSigma: sigma, empty, medianLevel, medianSigma };
}

/**
 * Where the level falls off a cliff (the edge of a roof), no sky can be told: what is left of the bright side looks like
 * a huge star. The scatter becomes Infinity there, so that nothing stands out. At a lower step it becomes a third of the
 * step: what straight lines between meshes leave of a sharp edge, half of it, then stays below the threshold.
 */
function closeCliffs({ across, down, values }: MeshMap, sigmas: MeshMap, medianSigma: number): void {
  for (let row = 0; row < down; row++)
    for (let column = 0; column < across; column++) {
      const at = row * across + column;
      for (const other of [column + 1 < across ? at + 1 : at, row + 1 < down ? at + across : at]) {
        const step = Math.abs(values[at]! - values[other]!);
        if (!(step > steep * medianSigma)) continue;
        const scatter = step > steepest * medianSigma ? Number.POSITIVE_INFINITY : step / 3;
        sigmas.values[at] = Math.max(sigmas.values[at]!, scatter);
        sigmas.values[other] = Math.max(sigmas.values[other]!, scatter);
      }
    }
}
