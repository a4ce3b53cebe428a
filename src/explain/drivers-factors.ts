import { quantile } from "../numbers/quantiles.js";
import type { FrameTable } from "../terms/frame-table.js";
import { toRadians } from "../terms/units.js";
import type { NightRows } from "./drivers-nights.js";
import type { Factor } from "./drivers-terms.js";

/** A factor and its value for each sub, less the mean of its night. */
export interface FactorColumn {
  readonly factor: Factor;
  readonly values: Float64Array;
}

/**
 * The factors that vary within nights and are known for nearly all subs. What differs only between nights is left to the
 * levels of the nights. Missing values take the mean of their night.
 */
export function factorColumns(table: FrameTable, night: NightRows): FactorColumn[] {
  const { rows } = night;
  const of = (value: (row: number, i: number) => number) => Float64Array.from(rows, value);
  const columns: FactorColumn[] = [
    { factor: { code: "altitude", step: 10 }, values: of((row) => table.altitudeDeg[row]) },
    { factor: { code: "sensor-temperature", step: 1 }, values: of((row) => table.sensorTempC[row]) },
    {
      factor: { code: "moon", step: 1 },
      values: of((row) => table.moonIllumination[row] * Math.max(0, Math.sin(toRadians(table.moonAltitudeDeg[row])))),
    },
    { factor: { code: "twilight", step: 6 }, values: of((row) => Math.max(0, table.sunAltitudeDeg[row] + 18)) },
    { factor: { code: "hour", step: 1 }, values: night.hours },
    { factor: { code: "exposure", step: 1 }, values: of((row) => Math.log2(table.exposureS[row])) },
  ];
  const counts = new Map<string, number>();
  for (const row of rows) counts.set(table.filter[row], (counts.get(table.filter[row]) ?? 0) + 1);
  const [most, ...others] = [...counts].sort((a, b) => b[1] - a[1] || (a[0] < b[0] ? -1 : 1)).filter(([, n]) => n >= 8);
  for (const [filter] of others)
    columns.push({
      factor: { code: "filter", filter, against: most[0], step: 1 },
      values: of((row) => Number(table.filter[row] === filter)),
    });
  return columns.flatMap(({ factor, values }) => {
    const centred = withinNights(values, night);
    return centred !== null && varies(centred, factor) ? [{ factor, values: centred }] : [];
  });
}

/** Less than this within nights is no variation worth testing, in the unit of the factor (range of the middle 90 %). */
const leastRange: Record<Factor["code"], number> = {
  altitude: 3,
  "sensor-temperature": 0.5,
  moon: 0.05,
  twilight: 1,
  hour: 0.25,
  exposure: 0.1,
  filter: 0.5,
};

function varies(values: Float64Array, { code }: Factor): boolean {
  if (code === "filter") return values.some((v) => Math.abs(v) > 0.01);
  // Few subs in twilight, or just after moonrise, are enough to matter: the whole range counts there.
  const tail = code === "twilight" || code === "moon" || code === "exposure" ? 0.005 : 0.05;
  return quantile(values, 1 - tail) - quantile(values, tail) >= leastRange[code];
}

/** @returns null when more than a tenth is missing */
function withinNights(values: Float64Array, { nightOf, nights }: NightRows): Float64Array | null {
  const sums = new Float64Array(nights);
  const counts = new Float64Array(nights);
  let missing = 0;
  values.forEach((v, i) => {
    if (Number.isFinite(v)) {
      sums[nightOf[i]] += v;
      counts[nightOf[i]]++;
    } else missing++;
  });
  if (missing > values.length / 10) return null;
  return values.map((v, i) => (Number.isFinite(v) ? v - sums[nightOf[i]] / counts[nightOf[i]] : 0));
}
