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

  /**
   * The median of each mesh and its neighbours. The neighbourhood is the same on both sides, so it shrinks at the edges:
   * else a slope would be bent there. Holes are filled from all around, or with the median of all; NaN only if all are
   * holes.
   */
  filtered(): MeshMap {
    const { across, down, values } = this;
    const all = median(values);
    const result = new Float64Array(values.length);
    const near = new Float64Array(9);
    for (let row = 0; row < down; row++)
      for (let column = 0; column < across; column++) {
        const reachX = Math.min(1, column, across - 1 - column);
        const reachY = Math.min(1, row, down - 1 - row);
        const count = this.#around(column, row, reachX, reachY, near) || this.#around(column, row, 1, 1, near);
        result[row * across + column] = count > 0 ? medianOfFew(near, count) : all;
      }
    return new MeshMap(across, down, this.width, this.height, result);
  }

  /** Collects the neighbourhood that has values; returns how many. */
  #around(column: number, row: number, reachX: number, reachY: number, near: Float64Array): number {
    let count = 0;
    for (let y = Math.max(0, row - reachY); y <= Math.min(this.down - 1, row + reachY); y++)
      for (let x = Math.max(0, column - reachX); x <= Math.min(this.across - 1, column + reachX); x++) {
        const value = this.values[y * this.across + x]!;
        if (!Number.isNaN(value)) near[count++] = value;
      }
    return count;
  }

  /** Bilinear between the centres of the meshes; beyond the outermost, the slope goes on. */
  at(x: number, y: number): number {
    return this.#between((x + 0.5) * (this.across / this.width) - 0.5, (y + 0.5) * (this.down / this.height) - 0.5);
  }

  /** Bilinear between the centres of the meshes, constant beyond the outermost. */
  within(x: number, y: number): number {
    const u = (x + 0.5) * (this.across / this.width) - 0.5;
    const v = (y + 0.5) * (this.down / this.height) - 0.5;
    return this.#between(Math.min(this.across - 1, Math.max(0, u)), Math.min(this.down - 1, Math.max(0, v)));
  }

  /**
   * For many rows of the same places.
   * @param xs - the places
   * @param beyond - as {@link at} ("slope") or {@link within} ("constant")
   * @returns a function that fills an array with the values in row y
   */
  sampler(xs: Float64Array, beyond: "slope" | "constant"): (y: number, into: Float64Array) => void {
    const { across, down, values, width, height } = this;
    const constant = beyond === "constant";
    const right = across > 1 ? 1 : 0;
    const below = down > 1 ? across : 0;
    const columns = new Int32Array(xs.length);
    const shares = new Float64Array(xs.length);
    for (let i = 0; i < xs.length; i++) {
      const u = (xs[i]! + 0.5) * (across / width) - 0.5;
      const inside = constant ? Math.min(across - 1, Math.max(0, u)) : u;
      columns[i] = Math.max(0, Math.min(Math.floor(inside), across - 2));
      shares[i] = inside - columns[i]!;
    }
    return (y, into) => {
      const v = (y + 0.5) * (down / height) - 0.5;
      const inside = constant ? Math.min(down - 1, Math.max(0, v)) : v;
      const row = Math.max(0, Math.min(Math.floor(inside), down - 2));
      const fy = inside - row;
      for (let i = 0; i < columns.length; i++) {
        const p = row * across + columns[i]!;
        const fx = shares[i]!;
        const upper = values[p]! + fx * (values[p + right]! - values[p]!);
        const lower = values[p + below]! + fx * (values[p + below + right]! - values[p + below]!);
        into[i] = upper + fy * (lower - upper);
      }
    };
  }

  #between(u: number, v: number): number {
    const { across, down, values } = this;
    const column = Math.max(0, Math.min(Math.floor(u), across - 2));
    const row = Math.max(0, Math.min(Math.floor(v), down - 2));
    const right = across > 1 ? 1 : 0;
    const below = down > 1 ? across : 0;
    const p = row * across + column;
    const fx = u - column;
    const fy = v - row;
    const upper = values[p]! + fx * (values[p + right]! - values[p]!);
    const lower = values[p + below]! + fx * (values[p + below + right]! - values[p + below]!);
    return upper + fy * (lower - upper);
  }

  /** Rise from pixel to pixel at a mesh, along x (1, 0) or y (0, 1), from its neighbours; 0 where there are none. */
  slope(column: number, row: number, alongX: 0 | 1, alongY: 0 | 1): number {
    const { across, down, values } = this;
    const fromColumn = Math.max(0, column - alongX);
    const fromRow = Math.max(0, row - alongY);
    const toColumn = Math.min(across - 1, column + alongX);
    const toRow = Math.min(down - 1, row + alongY);
    const pixels = ((toColumn - fromColumn) * this.width) / across + ((toRow - fromRow) * this.height) / down;
    const rise = values[toRow * across + toColumn]! - values[fromRow * across + fromColumn]!;
    return pixels > 0 && Number.isFinite(rise) ? rise / pixels : 0;
  }

  /** Difference between two quantiles of the meshes. */
  range(from: number, to: number): number {
    return quantile(this.values, to) - quantile(this.values, from);
  }
}

/** The median of the first of some values, which are sorted; insertion beats anything cleverer on so few. */
export function medianOfFew(values: Float64Array, count: number): number {
  for (let i = 1; i < count; i++) {
    const value = values[i]!;
    let j = i - 1;
    while (j >= 0 && values[j]! > value) {
      values[j + 1] = values[j]!;
      j--;
    }
    values[j + 1] = value;
  }
  const half = count >> 1;
  return count & 1 ? values[half]! : (values[half - 1]! + values[half]!) / 2;
}
