import type { Random } from "./random.js";

/**
 * One way of laying each series of a table anew against the rest of the table: turned round its own circle, then cut into
 * long blocks that change places and may be read backwards. Autocorrelation stays as it is within the blocks, which a free
 * shuffle would destroy. Turning alone would be too little where the rest changes smoothly: turned by a few
 * places, nothing is really laid anew.
 */
export interface Arrangement {
  /** 0 to below 1: by what part of its length each series is turned. */
  readonly turn: Float64Array;
  /** The blocks of each series in their new order. */
  readonly orders: readonly Uint8Array[];
  /** 1 forwards, -1 backwards, for each place of `orders`. */
  readonly directions: readonly Int8Array[];
}

/**
 * Blocks of a series. Two halves: with more, slow noise that the fit took for less slow is broken up and more is claimed
 * than the level allows (tests/recovery/drivers.test.ts: six blocks, 10 % of null nights instead of 5).
 */
const blocksIn = (length: number) => Math.max(1, Math.min(2, Math.floor(length / 12)));

/**
 * The untouched arrangement of several series, then so many drawn at random, each series on its own.
 * @param lengths - of the series
 */
export function arrangements(lengths: readonly number[], count: number, random: Random): Arrangement[] {
  const plain = lengths.map((length) => Uint8Array.from({ length: blocksIn(length) }, (_, i) => i));
  const result: Arrangement[] = [
    {
      turn: new Float64Array(lengths.length),
      orders: plain,
      directions: plain.map((order) => new Int8Array(order.length).fill(1)),
    },
  ];
  for (let i = 0; i < count; i++)
    result.push({
      turn: Float64Array.from(lengths, () => random.uniform()),
      orders: plain.map((order) => shuffled(order, random)),
      directions: plain.map((order) => Int8Array.from(order, () => (random.bits() & 1 ? 1 : -1))),
    });
  return result;
}

function shuffled(values: Uint8Array, random: Random): Uint8Array {
  const result = values.slice();
  for (let i = result.length - 1; i > 0; i--) {
    const j = Math.floor(random.uniform() * (i + 1));
    [result[i], result[j]] = [result[j], result[i]];
  }
  return result;
}

/**
 * Lays one series anew.
 * @param from - first index of the series in both arrays
 * @param end - index after its last
 * @param series - its number in the arrangement
 */
export function arrange(
  values: Float64Array,
  to: Float64Array,
  [from, end]: readonly [from: number, end: number],
  { turn, orders, directions }: Arrangement,
  series: number,
): void {
  const n = end - from;
  const shift = Math.round(turn[series] * n) % n;
  const [order, direction] = [orders[series], directions[series]];
  let place = from;
  for (let b = 0; b < order.length; b++) {
    const start = Math.round((order[b] * n) / order.length);
    const stop = Math.round(((order[b] + 1) * n) / order.length);
    let at = from + (((direction[b] === 1 ? start : stop - 1) + shift) % n);
    for (let i = start; i < stop; i++) {
      to[place++] = values[at];
      at += direction[b];
      if (at === end) at = from;
      else if (at < from) at = end - 1;
    }
  }
}

/** Two-sided p-value of a statistic whose first entry is the observed one: one is added to both counts by that entry. */
export function arrangementP(statistics: ArrayLike<number>): number {
  let extreme = 0;
  // A hair of tolerance: arrangements that equal the observed one by symmetry must count.
  const seen = Math.abs(statistics[0]) * (1 - 1e-10);
  for (let i = 0; i < statistics.length; i++) if (Math.abs(statistics[i]) >= seen) extreme++;
  return extreme / statistics.length;
}
