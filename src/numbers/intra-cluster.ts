import { CallError } from "../terms/errors.js";

/** Events and trials of one cluster: kept subs of one night. */
export interface ClusterCount {
  readonly events: number;
  readonly trials: number;
}

/**
 * Intra-cluster correlation of a yes-or-no outcome by analysis of variance (Ridout, Demetrio & Firth 1999, Biometrics
 * 55, 137): 0 when clusters differ no more than chance, 1 when each is all or nothing.
 * @returns NaN with fewer than two clusters, or an outcome that does not vary; not below 0
 */
export function intraClusterCorrelation(clusters: readonly ClusterCount[]): number {
  const used = clusters.filter(({ trials }) => trials > 0);
  let [events, trials, squares, within] = [0, 0, 0, 0];
  for (const c of used) {
    events += c.events;
    trials += c.trials;
    squares += c.trials ** 2;
    within += c.events - c.events ** 2 / c.trials;
  }
  const k = used.length;
  if (k < 2 || trials <= k || events === 0 || events === trials) return Number.NaN;
  const rate = events / trials;
  let between = 0;
  for (const c of used) between += c.trials * (c.events / c.trials - rate) ** 2;
  const meanBetween = between / (k - 1);
  const meanWithin = within / (trials - k);
  const typical = (trials - squares / trials) / (k - 1);
  return Math.max(0, (meanBetween - meanWithin) / (meanBetween + (typical - 1) * meanWithin));
}

/**
 * What clustered counts are worth in independent trials: events and trials divided by the design effect
 * 1 + (m - 1) rho, m the mean size of a cluster weighted by size (Kish 1965).
 * @throws CallError when rho is outside 0 to 1
 */
export function effectiveCount(clusters: readonly ClusterCount[], rho: number): ClusterCount {
  if (!(rho >= 0 && rho <= 1)) throw new CallError(`An intra-cluster correlation lies within 0 to 1; ${rho} does not`);
  let [events, trials, squares] = [0, 0, 0];
  for (const c of clusters) {
    events += c.events;
    trials += c.trials;
    squares += c.trials ** 2;
  }
  const effect = trials > 0 ? Math.max(1, 1 + (squares / trials - 1) * rho) : 1;
  return { events: events / effect, trials: trials / effect };
}
