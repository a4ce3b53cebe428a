import type { Interval } from "../numbers/proportion-intervals.js";
import { serialInflation } from "../numbers/serial-noise.js";
import { tQuantileTwoSided } from "../numbers/tails.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { MetricModel } from "./drivers-effects.js";
import type { NightRows } from "./drivers-nights.js";

/** Two subs of one night and target at the same altitude, as entries of the night rows: before and after the transit. */
export interface AltitudePair {
  readonly before: number;
  readonly after: number;
}

/** An effect from equal-altitude pairs alone, for one step of its factor. */
export interface PairedEffect {
  readonly pairs: number;
  readonly estimate: number;
  /** 90 %. */
  readonly interval: Interval;
}

/** Altitudes that count as equal, and how far below the top a pair begins: subs near it are the same sub in all but name. */
const withinDeg = 1;
/** Fewer pairs say nothing. */
const fewestPairs = 8;

/** Pairs each sub at most once, night by night and target by target. */
export function equalAltitudePairs(table: FrameTable, { rows, nightOf }: NightRows): AltitudePair[] {
  const groups = new Map<string, number[]>();
  rows.forEach((row, i) => {
    if (!Number.isFinite(table.altitudeDeg[row])) return;
    const key = `${nightOf[i]} ${table.target[row]}`;
    const group = groups.get(key);
    if (group === undefined) groups.set(key, [i]);
    else group.push(i);
  });
  const altitude = (entry: number) => table.altitudeDeg[rows[entry]];
  return [...groups.values()].flatMap((group) => {
    const pairs: AltitudePair[] = [];
    let top = 0;
    group.forEach((entry, k) => {
      if (altitude(entry) > altitude(group[top])) top = k;
    });
    const highest = altitude(group[top]) - withinDeg;
    // Both sides run away from the transit, so one pass pairs them.
    let [b, a] = [top - 1, top + 1];
    while (b >= 0 && a < group.length) {
      const [before, after] = [group[b], group[a]];
      const difference = altitude(before) - altitude(after);
      if (Math.abs(difference) <= withinDeg && altitude(before) < highest) {
        pairs.push({ before, after });
        b--;
        a++;
      } else if (difference > 0) b--;
      else a++;
    }
    return pairs;
  });
}

/**
 * The effect of a factor within pairs of equal altitude: whatever altitude does, by whatever law, is the same on both sides
 * of the transit and drops out. The pair that differs most in the factor counts most; other columns, altitude and
 * hour excepted, are taken off as the model fits them. The interval respects the autocorrelation that the model found.
 * @returns null with too few pairs, or where the factor is the same on both sides
 */
export function pairedEffect(
  { series, columns, fit }: MetricModel,
  index: number,
  pairs: readonly AltitudePair[],
): PairedEffect | null {
  const placeOf = new Map(Array.from(series.entries, (entry, place) => [entry, place]));
  const seriesOf = new Int32Array(series.values.length);
  for (let s = 0; s + 1 < series.starts.length; s++) seriesOf.fill(s, series.starts[s], series.starts[s + 1]);
  const x = columns[index].values;
  const others = columns.flatMap(({ values, factors }, i) =>
    i === index || factors.some(({ code }) => code === "altitude" || code === "hour")
      ? []
      : [{ values, coefficient: fit.coefficients[i] }],
  );
  // A pair's weight is its difference of the factor, so the estimate is one weighted sum over the subs.
  const weight = new Float64Array(x.length);
  let [used, ofY, ofX] = [0, 0, 0];
  for (const { before, after } of pairs) {
    const [b, a] = [placeOf.get(before), placeOf.get(after)];
    if (b === undefined || a === undefined || seriesOf[a] !== seriesOf[b]) continue;
    const step = x[a] - x[b];
    used++;
    weight[a] += step;
    weight[b] -= step;
    ofX += step * step;
    const rest = (i: number) => others.reduce((y, o) => y - o.coefficient * o.values[i], series.values[i]);
    ofY += step * (rest(a) - rest(b));
  }
  if (used < fewestPairs || !(ofX > 0)) return null;
  const square = weight.reduce((sum, w) => sum + w * w, 0);
  const error = Math.sqrt(fit.sigma2 * square * serialInflation(weight, series.starts, fit.noise)) / ofX;
  const estimate = ofY / ofX;
  const reach = tQuantileTwoSided(0.1, fit.degreesOfFreedom) * error;
  return { pairs: used, estimate, interval: { low: estimate - reach, high: estimate + reach } };
}
