import { median, quantile } from "../numbers/quantiles.js";

/** Values on the centres of a grid of meshes over an image, and what lies between them. */
export class MeshMap {
  readonly across: number;
  readonly down: number;
  readonly width: number;
  readonly height: number;
  /** One value a mesh, row after row; NaN: none. */
  readonly values: Float64Array;

  /**
   * @param width - of the image, in the pixels that {@link at} takes
   */
  constructor(across: number, down: number, width: number, height: number, values: Float64Array) {
    this.across = across;
    this.down = down;
    this.width = width;
    this.height = height;
    this.values = values;
  }

  /** The median of each mesh and its neighbours. Holes are filled with the median of all; NaN only if all are holes. */
  filtered(): MeshMap {
    const { across, down, values } = this;
    const all = median(values);
    const result = new Float64Array(values.length);
    const near: number[] = [];
    for (let row = 0; row < down; row++)
      for (let column = 0; column < across; column++) {
        near.length = 0;
        for (let y = Math.max(0, row - 1); y <= Math.min(down - 1, row + 1); y++)
          for (let x = Math.max(0, column - 1); x <= Math.min(across - 1, column + 1); x++) {
            const value = values[y * across + x]!;
            if (!Number.isNaN(value)) near.push(value);
          }
        result[row * across + column] = near.length > 0 ? medianOfFew(near) : all;
      }
    return new MeshMap(across, down, this.width, this.height, result);
  }

  /** Bilinear between the centres of the meshes, constant beyond the outermost. */
  at(x: number, y: number): number {
    const { across, down, values } = this;
    const u = Math.min(across - 1, Math.max(0, ((x + 0.5) * across) / this.width - 0.5));
    const v = Math.min(down - 1, Math.max(0, ((y + 0.5) * down) / this.height - 0.5));
    const column = Math.min(Math.floor(u), Math.max(0, across - 2));
    const row = Math.min(Math.floor(v), Math.max(0, down - 2));
    const right = across > 1 ? 1 : 0;
    const below = down > 1 ? across : 0;
    const p = row * across + column;
    const fx = u - column;
    const fy = v - row;
    const upper = values[p]! + fx * (values[p + right]! - values[p]!);
    const lower = values[p + below]! + fx * (values[p + below + right]! - values[p + below]!);
    return upper + fy * (lower - upper);
  }

  /** Difference between two quantiles of the meshes. */
  range(from: number, to: number): number {
    return quantile(this.values, to) - quantile(this.values, from);
  }
}

/** Insertion sort beats anything cleverer on nine numbers. */
function medianOfFew(values: number[]): number {
  for (let i = 1; i < values.length; i++) {
    const value = values[i]!;
    let j = i - 1;
    while (j >= 0 && values[j]! > value) {
      values[j + 1] = values[j]!;
      j--;
    }
    values[j + 1] = value;
  }
  const half = values.length >> 1;
  return values.length & 1 ? values[half]! : (values[half - 1]! + values[half]!) / 2;
}
