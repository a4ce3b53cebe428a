import { mantelHaenszel, type TwoByTwo } from "../numbers/mantel-haenszel.js";
import { oddsHomogeneity } from "../numbers/odds-homogeneity.js";
import { wilsonInterval } from "../numbers/proportion-intervals.js";
import { standardisedRate } from "../numbers/standardised-rate.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { NightRows } from "./drivers-nights.js";
import type { FilterRate, RateBin } from "./drivers-terms.js";

interface Judged {
  readonly filter: string;
  readonly stratum: string;
  readonly rejected: 0 | 1;
  readonly row: number;
}

/** Reject rates by filter, crude, standardised and stratified by night and 10 deg of altitude; and by range. */
export function rejectRates(
  table: FrameTable,
  { rows, nightOf }: NightRows,
): { filterRates: FilterRate[]; rateBins: RateBin[] } {
  const judged: Judged[] = [];
  rows.forEach((row, i) => {
    if (table.verdict[row] === "unjudged" || table.verdict[row] === "") return;
    const stratum = `${nightOf[i]} ${Math.floor(table.altitudeDeg[row] / 10)}`;
    judged.push({ filter: table.filter[row], stratum, rejected: table.verdict[row] === "drop" ? 1 : 0, row });
  });
  const filters = [...new Set(judged.map(({ filter }) => filter))];
  return {
    filterRates: filters.map((filter) => rateOf(filter, judged)),
    rateBins: [
      ...bins(judged, "altitude", 10, (row) => table.altitudeDeg[row]),
      ...bins(judged, "sensor-temperature", 2, (row) => table.sensorTempC[row]),
    ],
  };
}

function rateOf(filter: string, judged: readonly Judged[]): FilterRate {
  const strata = new Map<string, [number, number, number, number]>();
  for (const sub of judged) {
    const cells = strata.get(sub.stratum) ?? [0, 0, 0, 0];
    cells[(sub.filter === filter ? 0 : 2) + (1 - sub.rejected)]++;
    strata.set(sub.stratum, cells);
  }
  const tables: TwoByTwo[] = [...strata.values()];
  const [a, b, c, d] = tables.reduce<TwoByTwo>(
    ([a, b, c, d], [e, f, g, h]) => [a + e, b + f, c + g, d + h],
    [0, 0, 0, 0],
  );
  const ratio = mantelHaenszel(tables, 0.9);
  const standard = tables.map(([e, f, g, h]) => ({ events: e, trials: e + f, weight: e + f + g + h }));
  const crude = Math.sign(a * d - b * c);
  return {
    filter,
    subs: a + b,
    rejected: a,
    rate: a / (a + b),
    interval: wilsonInterval(a, a + b, 0.9),
    standardisedRate: standardisedRate(standard).standardised,
    oddsRatio: ratio.oddsRatio,
    oddsInterval: ratio.interval,
    homogeneityP: oddsHomogeneity(tables).p,
    reversed: ratio.p < 0.05 && crude !== 0 && crude === -Math.sign(Math.log(ratio.oddsRatio)),
  };
}

function bins(
  judged: readonly Judged[],
  factor: RateBin["factor"],
  width: number,
  of: (row: number) => number,
): RateBin[] {
  const counts = new Map<number, [subs: number, rejected: number]>();
  for (const { row, rejected } of judged) {
    const bin = Math.floor(of(row) / width);
    if (!Number.isFinite(bin)) continue;
    const [subs, bad] = counts.get(bin) ?? [0, 0];
    counts.set(bin, [subs + 1, bad + rejected]);
  }
  return [...counts]
    .sort(([p], [q]) => p - q)
    .map(([bin, [subs, rejected]]) => ({
      factor,
      from: bin * width,
      to: (bin + 1) * width,
      subs,
      rejected,
      interval: wilsonInterval(rejected, subs, 0.9),
    }));
}
