/** What decides about a stack: what each sub adds per weight, and the variance of its background. */
export interface Stackable {
  readonly signal: ArrayLike<number>;
  readonly variance: ArrayLike<number>;
}

/** Sums over the subs of a stack. */
interface Sums {
  readonly signal: number;
  readonly variance: number;
  /** Sum of signal^2 / variance: the square of the best possible figure. */
  readonly best: number;
  readonly subs: number;
}

/** What a sub does to a stack. Arrays run over the subs; NaN where nothing is known. */
export interface Effects {
  /**
   * How much of the allowed variance per signal a sub takes in an equal-weight stack: above 1 it costs the stack more
   * than it gives.
   */
  readonly burden: Float64Array;
  /** By which fraction the figure of an equal-weight stack of the kept subs is larger with the sub than without it. */
  readonly gainEqualWeights: Float64Array;
  /** The same with the best weights, signal / variance; never negative. */
  readonly gainBestWeights: Float64Array;
}

const known = ({ signal, variance }: Stackable, i: number) => signal[i] > 0 && variance[i] > 0;
const bearable = ({ signal, variance }: Stackable, i: number) => known({ signal, variance }, i) && variance[i] < 1e12;

/**
 * Signal over noise of a stack, in units of one sub with signal 1 and variance 1: sum(w s) / sqrt(sum(w^2 v)).
 * @param members - numbers of the subs
 * @param weights - by number of the sub; left out: equal weights
 */
export function stackFigure(stackable: Stackable, members: readonly number[], weights?: ArrayLike<number>): number {
  let signal = 0;
  let variance = 0;
  for (const i of members) {
    const w = weights === undefined ? 1 : weights[i];
    if (!(w > 0) || !known(stackable, i)) continue;
    signal += w * stackable.signal[i];
    variance += w * w * stackable.variance[i];
  }
  return variance > 0 ? signal / Math.sqrt(variance) : 0;
}

/** By this fraction a stack must be better for subs to be taken in that would do harm alone. */
export const leastLeap = 0.03;

/**
 * The subs with which an equal-weight stack is best. A single sub k raises S / sqrt(V) when v_k / s_k < (V / S)
 * (2 + s_k / S): for equal signals, when it is less than about twice as noisy (in variance) as the mean of the others. So
 * the best stack holds the subs with the least v / s, down to some limit; every limit is tried, as many middling subs may
 * help where one alone would not. Such a leap over subs that do harm alone must be worth `leastLeap`: a tie between fewer
 * good subs and many middling ones is decided for the fewer. A night that is mostly bad is so judged by its good part.
 * @param able - which subs may be used
 */
export function worthKeeping(stackable: Stackable, able: readonly boolean[]): number[] {
  const { signal, variance } = stackable;
  const order = able
    .flatMap((ok, i) => (ok && bearable(stackable, i) ? [i] : []))
    .sort((a, b) => variance[a] / signal[a] - variance[b] / signal[b]);
  let [s, v, best, subs] = [0, 0, 0, 0];
  order.forEach((i, n) => {
    s += signal[i];
    v += variance[i];
    const figure = s / Math.sqrt(v);
    if (figure <= best * (n === subs ? 1 : 1 + leastLeap)) return;
    best = figure;
    subs = n + 1;
  });
  return order.slice(0, subs);
}

/** What each sub does to the stack of some of them: those that are in it are taken out, the others put in. */
export function effectsOn(stackable: Stackable, kept: readonly number[]): Effects {
  const { signal, variance } = stackable;
  const all = sumsOf(stackable, kept);
  const inStack = new Set(kept);
  const rows = signal.length;
  const burden = new Float64Array(rows).fill(Number.NaN);
  const gainEqualWeights = new Float64Array(rows).fill(Number.NaN);
  const gainBestWeights = new Float64Array(rows).fill(Number.NaN);
  for (let i = 0; i < rows; i++) {
    if (!known(stackable, i)) continue;
    const [s, v] = [signal[i], variance[i]];
    const without = inStack.has(i)
      ? { signal: all.signal - s, variance: all.variance - v, best: all.best - (s * s) / v, subs: all.subs - 1 }
      : all;
    if (without.subs === 0) {
      burden[i] = 0;
      continue;
    }
    burden[i] = v / s / ((without.variance / without.signal) * (2 + s / without.signal));
    gainEqualWeights[i] =
      (without.signal + s) / Math.sqrt(without.variance + v) / (without.signal / Math.sqrt(without.variance)) - 1;
    gainBestWeights[i] = Math.sqrt(1 + (s * s) / v / without.best) - 1;
  }
  return { burden, gainEqualWeights, gainBestWeights };
}

function sumsOf({ signal, variance }: Stackable, members: readonly number[]): Sums {
  let [s, v, best] = [0, 0, 0];
  for (const i of members) {
    s += signal[i];
    v += variance[i];
    best += (signal[i] * signal[i]) / variance[i];
  }
  return { signal: s, variance: v, best, subs: members.length };
}
