import type { Background } from "./background.js";
import type { SumPlane } from "./frame-buffers.js";
import { medianOfFew } from "./mesh-map.js";

/** A square of the frame. */
export interface Cell {
  /** Level of the sky in units of a 2 x 2 sum; NaN: no sky. */
  readonly level: number;
  /** Scatter of a 2 x 2 sum around here. */
  readonly sigma: number;
  stars: number;
}

/** The frame in square cells, row after row. */
export interface CellMap {
  readonly cells: readonly Cell[];
  readonly across: number;
  readonly down: number;
  /** Side of a cell, pixels of the frame. */
  readonly cellPx: number;
}

/** No more cells than this, and none smaller than 8 pixels. */
const mostCells = 3000;
/** Values of a cell that are looked at, each way. */
const samples = 4;
const few = new Float64Array(samples * samples);

/**
 * Divides the frame into cells finer than the meshes of the background, each with the median of 16 sums.
 * @param plane - sums of 2 x 2 pixels of the frame
 */
export function cellMap({ values, width, height }: SumPlane, background: Background): CellMap {
  const side = samples * Math.max(1, Math.ceil(Math.sqrt((width * height) / samples ** 2 / mostCells)));
  const across = Math.max(1, Math.floor(width / side));
  const down = Math.max(1, Math.floor(height / side));
  const { empty, sigma } = background;
  const cells: Cell[] = [];
  for (let row = 0; row < down; row++)
    for (let column = 0; column < across; column++) {
      for (let k = 0; k < few.length; k++) {
        const x = Math.min(width - 1, column * side + Math.floor((((k % samples) + 0.5) * side) / samples));
        const y = Math.min(height - 1, row * side + Math.floor(((Math.floor(k / samples) + 0.5) * side) / samples));
        few[k] = values[y * width + x]!;
      }
      const x = (column + 0.5) * side;
      const y = (row + 0.5) * side;
      const mesh =
        Math.min(sigma.down - 1, Math.floor((y * sigma.down) / sigma.height)) * sigma.across +
        Math.min(sigma.across - 1, Math.floor((x * sigma.across) / sigma.width));
      const level = empty[mesh] === 1 ? Number.NaN : middleOf(few);
      cells.push({ level, sigma: background.meshSigma[mesh]!, stars: 0 });
    }
  return { cells, across, down, cellPx: 2 * side };
}

/** The median, where values that are missing count as the largest. */
function middleOf(values: Float64Array): number {
  let known = 0;
  for (let i = 0; i < values.length; i++) if (!Number.isNaN(values[i]!)) known++;
  if (known === values.length) return medianOfFew(values, known);
  values.sort();
  return (values[values.length / 2 - 1]! + values[values.length / 2]!) / 2;
}
