// How well probabilities mean what they say, where subs of one night stand or fall together: seventy subs of one haze are
// one piece of evidence, not seventy.

/** A cause that was named: the probability it was given, whether it was right, and the night it belongs to. */
export interface Named {
  readonly night: string;
  readonly right: boolean;
  readonly probability: number;
}

export interface ClusteredRow {
  readonly fromTenths: number;
  readonly toTenths: number;
  readonly subs: number;
  readonly nights: number;
  /** So many nights of equal size would tell as much: (sum n)^2 / sum n^2 (Kish 1965). */
  readonly effectiveNights: number;
  readonly said: number;
  readonly right: number;
  /** Standard error of right - said, from the nights' sums (a ratio estimator: Cochran 1977, 2.11). */
  readonly error: number;
}

/**
 * Tenths of probability, from the highest down; a tenth with too few subs or too few nights is taken together with the
 * next one, so that every sub is judged. What is left over at the low end joins the last row.
 */
export function clusteredReliability(
  named: readonly Named[],
  fewest: { readonly subs: number; readonly effectiveNights: number },
): ClusteredRow[] {
  const within = (from: number, to: number) =>
    rowOf(
      named.filter(({ probability: p }) => p >= from / 10 && (p < to / 10 || to === 10)),
      from,
      to,
    );
  const rows: ClusteredRow[] = [];
  let to = 10;
  for (let from = 9; from >= 0; from--) {
    const row = within(from, to);
    if (row.subs < fewest.subs || !(row.effectiveNights >= fewest.effectiveNights)) continue;
    rows.unshift(row);
    to = from;
  }
  if (to > 0 && within(0, to).subs > 0) rows.unshift(within(0, rows.shift()?.toTenths ?? 10));
  return rows;
}

function rowOf(held: readonly Named[], fromTenths: number, toTenths: number): ClusteredRow {
  const nights = new Map<string, { n: number; off: number }>();
  let [said, right] = [0, 0];
  for (const one of held) {
    const night = nights.get(one.night) ?? { n: 0, off: 0 };
    nights.set(one.night, { n: night.n + 1, off: night.off + Number(one.right) - one.probability });
    said += one.probability / held.length;
    right += Number(one.right) / held.length;
  }
  const off = right - said;
  const clusters = [...nights.values()];
  const many = clusters.length;
  const squares = clusters.reduce((sum, c) => sum + (c.off - off * c.n) ** 2, 0);
  return {
    fromTenths,
    toTenths,
    subs: held.length,
    nights: many,
    effectiveNights: held.length ** 2 / clusters.reduce((sum, { n }) => sum + n * n, 0),
    said,
    right,
    error: many > 1 ? Math.sqrt((squares * many) / (many - 1)) / held.length : Number.NaN,
  };
}
