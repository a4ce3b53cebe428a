/** Finds what lies near a place: numbered points in square cells. */
export class StarGrid {
  readonly #cell: number;
  readonly #across: number;
  readonly #down: number;
  readonly #first: Int32Array;
  readonly #next: number[] = [];
  readonly #x: number[] = [];
  readonly #y: number[] = [];

  constructor(width: number, height: number, cell: number) {
    this.#cell = cell;
    this.#across = Math.max(1, Math.ceil(width / cell));
    this.#down = Math.max(1, Math.ceil(height / cell));
    this.#first = new Int32Array(this.#across * this.#down).fill(-1);
  }

  /** Adds a point; points are numbered in the order they come. */
  add(x: number, y: number): void {
    const cell = this.#row(y) * this.#across + this.#column(x);
    this.#next.push(this.#first[cell]!);
    this.#first[cell] = this.#x.length;
    this.#x.push(x);
    this.#y.push(y);
  }

  /** True when `test` accepts one of the points within a radius. */
  some(x: number, y: number, radius: number, test: (index: number, distance2: number) => boolean): boolean {
    const limit = radius * radius;
    for (let row = this.#row(y - radius), last = this.#row(y + radius); row <= last; row++)
      for (let column = this.#column(x - radius), end = this.#column(x + radius); column <= end; column++)
        for (let i = this.#first[row * this.#across + column]!; i >= 0; i = this.#next[i]!) {
          const distance2 = (this.#x[i]! - x) ** 2 + (this.#y[i]! - y) ** 2;
          if (distance2 <= limit && test(i, distance2)) return true;
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
