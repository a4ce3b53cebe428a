/** Finds what lies near a place: numbered points in square cells. */
export class StarGrid {
  readonly #cell: number;
  readonly #across: number;
  readonly #down: number;
  readonly #first: Int32Array;
  readonly #next: Int32Array;
  readonly #x: Float64Array;
  readonly #y: Float64Array;
  #count = 0;

  /** @param room - most points that will be added */
  constructor(width: number, height: number, cell: number, room: number) {
    this.#next = new Int32Array(room);
    this.#x = new Float64Array(room);
    this.#y = new Float64Array(room);
    this.#cell = cell;
    this.#across = Math.max(1, Math.ceil(width / cell));
    this.#down = Math.max(1, Math.ceil(height / cell));
    this.#first = new Int32Array(this.#across * this.#down).fill(-1);
  }

  /** Adds a point; points are numbered in the order they come. */
  add(x: number, y: number): void {
    const cell = this.#row(y) * this.#across + this.#column(x);
    const point = this.#count++;
    this.#next[point] = this.#first[cell]!;
    this.#first[cell] = point;
    this.#x[point] = x;
    this.#y[point] = y;
  }

  /** True when `test` accepts one of the points within a radius. */
  some(x: number, y: number, radius: number, test: (index: number, distance2: number) => boolean): boolean {
    const limit = radius * radius;
    const xs = this.#x;
    const ys = this.#y;
    const from = this.#column(x - radius);
    const to = this.#column(x + radius);
    for (let row = this.#row(y - radius), last = this.#row(y + radius); row <= last; row++)
      for (let cell = row * this.#across + from, end = row * this.#across + to; cell <= end; cell++)
        for (let i = this.#first[cell]!; i >= 0; i = this.#next[i]!) {
          const dx = xs[i]! - x;
          const dy = ys[i]! - y;
          const distance2 = dx * dx + dy * dy;
          if (distance2 <= limit && test(i, distance2)) return true;
        }
    return false;
  }

  /** True when another point within a radius of a point has more than a share of that point's value. */
  hasRival(self: number, radius: number, values: Float64Array, share: number): boolean {
    const x = this.#x[self]!;
    const y = this.#y[self]!;
    const least = share * values[self]!;
    const limit = radius * radius;
    const xs = this.#x;
    const ys = this.#y;
    const first = this.#first;
    const next = this.#next;
    const from = this.#column(x - radius);
    const to = this.#column(x + radius);
    for (let row = this.#row(y - radius), last = this.#row(y + radius); row <= last; row++)
      for (let cell = row * this.#across + from, end = row * this.#across + to; cell <= end; cell++)
        for (let i = first[cell]!; i >= 0; i = next[i]!) {
          if (!(values[i]! > least) || i === self) continue;
          const dx = xs[i]! - x;
          const dy = ys[i]! - y;
          if (dx * dx + dy * dy <= limit) return true;
        }
    return false;
  }

  #column(x: number): number {
    return Math.max(0, Math.min(this.#across - 1, Math.floor(x / this.#cell)));
  }

  #row(y: number): number {
    return Math.max(0, Math.min(this.#down - 1, Math.floor(y / this.#cell)));
  }
}
