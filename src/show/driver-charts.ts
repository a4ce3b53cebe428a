import type { Drivers, DriverTest, FilterRate, RateBin } from "../explain/drivers-terms.js";
import { type Figure, stacked } from "./chart-panels.js";
import { changeWords, factorLabel, metricLabels } from "./driver-labels.js";
import { tableHtml } from "./html.js";
import { type IntervalRow, intervalPanel } from "./interval-rows.js";
import { countWords, listWords, percentWords } from "./words.js";

export { changeWords } from "./driver-labels.js";

type Plain = Readonly<Record<string, unknown>>;

const mostEffects = 14;
/** Larger factors than this are drawn at the edge, with an arrow. */
const farthest = Math.log(32);
const looks = {
  finding: { colour: "var(--drop)", symbol: "circle" },
  "cannot-be-separated": { colour: "var(--borderline)", symbol: "diamond-open" },
  "not-claimed": { colour: "var(--soft)", symbol: "circle-open" },
} as const;
type Standing = keyof typeof looks;
/** How each is told apart, for a legend beside the chart. */
export const effectSigns: Readonly<Record<Standing, string>> = {
  finding: "\u25cf Beyond chance",
  "cannot-be-separated": "\u25c7 Beyond chance, but several things moved together and cannot be told apart",
  "not-claimed": "\u25cb May be chance",
};

/**
 * What the quality of the subs goes with: each effect with its 90 % interval, as a factor. Effects that are claimed come
 * first, then the clearest others.
 * @returns null when nothing was tested
 * @example
 * ```ts
 * import { effectsFigure, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(effectsFigure(night.explanation.drivers)?.data.length);
 * ```
 */
export const effectsFigure = (drivers: Drivers): Figure | null =>
  effectsOf(ordered(drivers).filter(({ test }) => test.metric !== "rejects"));

/** The same of the odds of being dropped, whose factors are much larger. */
export const rejectOddsFigure = (drivers: Drivers): Figure | null =>
  effectsOf(ordered(drivers).filter(({ test }) => test.metric === "rejects"));

function effectsOf(tests: readonly { test: DriverTest; standing: Standing }[]): Figure | null {
  if (tests.length === 0) return null;
  const shown = tests.slice(0, mostEffects);
  const ends = shown.flatMap(({ test: { effect } }) => [effect.interval.low, effect.interval.high, effect.estimate]);
  const reach = Math.min(farthest, Math.max(0.12, ...ends.filter(Number.isFinite).map(Math.abs)) * 1.05);
  const metrics = [...new Set(shown.map(({ test }) => test.metric))];
  const panels = metrics.map((metric) =>
    intervalPanel(
      metricLabels[metric],
      shown.filter(({ test }) => test.metric === metric).map(({ test, standing }) => effectRow(test, standing)),
      [-reach, reach],
    ),
  );
  const none = (yref: string): Plain[] => [
    {
      type: "line",
      xref: "x",
      yref: `${yref} domain`,
      x0: 0,
      x1: 0,
      y0: 0,
      y1: 1,
      layer: "below",
      line: { width: 1, dash: "dot", color: "var(--ink)" },
    },
  ];
  const left = tests.length - shown.length;
  return stacked(
    panels.map((panel) => ({ ...panel, shapes: none })),
    {
      ...factorTicks(reach),
      range: [-reach, reach],
      tickangle: 0,
      title: { text: "changes by", standoff: 6 },
      fixedrange: true,
    },
    [
      "Lines are 90 % intervals.",
      ...(Object.keys(looks) as Standing[])
        .filter((standing) => shown.some((one) => one.standing === standing))
        .map((standing) => `${effectSigns[standing]}.`),
      left === 0 ? "" : `The ${shown.length} clearest of ${tests.length} effects are drawn; the table has all.`,
    ]
      .filter(Boolean)
      .join(" "),
  );
}

function ordered({ tests, outcomes }: Drivers): { test: DriverTest; standing: Standing }[] {
  const claimed = outcomes.map((test) => ({ test, standing: test.kind }));
  const same = (a: DriverTest, b: DriverTest) =>
    a.metric === b.metric && JSON.stringify(a.factors) === JSON.stringify(b.factors);
  const others = tests
    .filter((test) => !outcomes.some((outcome) => same(outcome, test)))
    .sort((a, b) => a.effect.p - b.effect.p)
    .map((test) => ({ test, standing: "not-claimed" as const }));
  return [...claimed, ...others];
}

const effectName = ({ factors }: DriverTest) => factors.map(factorLabel).join(", or ");

function effectRow(test: DriverTest, standing: Standing): IntervalRow {
  const { estimate, interval, subs, nights, adjustedP } = test.effect;
  return {
    label: effectName(test),
    value: estimate,
    low: interval.low,
    high: interval.high,
    look: looks[standing],
    hover: [
      `${metricLabels[test.metric]}: ${effectName(test)}`,
      `${changeWords(estimate)} (90 %: ${changeWords(interval.low)} to ${changeWords(interval.high)})`,
      `${countWords(subs, "sub")} of ${countWords(nights, "night")}, p ${pWords(adjustedP)} after correction`,
      effectSigns[standing].slice(2),
    ],
  };
}

const pWords = (p: number) => (p < 0.001 ? "below 0.001" : p.toFixed(p < 0.1 ? 3 : 2));

/** Ticks at round factors, or at round percentages where the factors are near 1. */
function factorTicks(reach: number): Plain {
  const most = Math.exp(reach) - 1;
  if (most > 0.9) {
    const ratios = most > 5 ? [1 / 16, 1 / 4, 1, 4, 16] : [1 / 4, 1 / 2, 1, 2, 4];
    const inside = ratios.filter((ratio) => Math.abs(Math.log(ratio)) <= reach);
    const name = (ratio: number) => (ratio === 1 ? "nothing" : ratio < 1 ? `1/${1 / ratio}` : `\u00d7 ${ratio}`);
    return { tickvals: inside.map(Math.log), ticktext: inside.map(name) };
  }
  const step = [1, 2, 5, 10, 20, 30].find((percent) => (100 * most) / percent < 3) ?? 30;
  const percents = Array.from({ length: 7 }, (_, i) => (i - 3) * step).filter(
    (percent) => Math.abs(Math.log(1 + percent / 100)) <= reach,
  );
  return {
    tickvals: percents.map((percent) => Math.log(1 + percent / 100)),
    ticktext: percents.map((percent) =>
      percent === 0 ? "nothing" : `${percent < 0 ? "\u2212" : "+"}${Math.abs(percent)} %`,
    ),
  };
}

/**
 * All effects that were tested.
 * @example
 * ```ts
 * import { effectsTable, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(effectsTable(night.explanation.drivers).includes("<table"));
 * ```
 */
export function effectsTable(drivers: Drivers): string {
  return tableHtml(
    "What quality and rejects go with: all effects that were tested, with 90 % intervals",
    ["What changes", "With", "By", "From", "To", "p, corrected", "Subs", "Nights", "Standing"],
    ordered(drivers).map(({ test, standing }) => {
      const { estimate, interval, adjustedP, subs, nights } = test.effect;
      return [
        metricLabels[test.metric],
        effectName(test),
        changeWords(estimate),
        changeWords(interval.low),
        changeWords(interval.high),
        pWords(adjustedP),
        String(subs),
        String(nights),
        standing === "finding" ? "beyond chance" : standing === "not-claimed" ? "may be chance" : "cannot be separated",
      ];
    }),
  );
}

/** Fewer say so little that their interval would only hide the others. */
const fewestSubs = 5;
const rateLook = { colour: "var(--drop)", symbol: "x" };

/**
 * Share of dropped subs by filter, altitude and sensor temperature, with 90 % Wilson intervals. Null: nothing to show.
 * @example
 * ```ts
 * import { rejectRatesFigure, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(rejectRatesFigure(night.explanation.drivers)?.data.length);
 * ```
 */
export function rejectRatesFigure(drivers: Drivers): Figure | null {
  const groups = rateGroups(drivers).map(({ title, rows }) => ({
    title,
    rows: rows.filter(({ subs }) => subs >= fewestSubs),
    left: rows.some(({ subs }) => subs < fewestSubs),
  }));
  const panels = groups.flatMap(({ title, rows }) => (rows.length > 0 ? intervalPanel(title, rows, [0, 1]) : []));
  if (panels.length === 0) return null;
  return stacked(
    panels,
    {
      range: [-0.015, 1.06],
      tickvals: [0, 0.25, 0.5, 0.75, 1],
      ticktext: ["0 %", "25 %", "50 %", "75 %", "100 %"],
      title: { text: "of the subs dropped", standoff: 6 },
      fixedrange: true,
    },
    `Lines are 90 % intervals.${groups.some(({ left }) => left) ? ` Where there are fewer than ${fewestSubs} subs only the table shows them.` : ""}`,
  );
}

function rateGroups({ filterRates, rateBins }: Drivers): { title: string; rows: RateRow[] }[] {
  const bins = (factor: RateBin["factor"]) => rateBins.filter((bin) => bin.factor === factor);
  return [
    { title: "By filter", rows: filterRates.map((rate) => rateRow(filterLabel(rate), rate)) },
    {
      title: "By altitude of the target",
      rows: bins("altitude").map((bin) => rateRow(`${degrees(bin.from)} to ${degrees(bin.to)}\u00b0`, bin)),
    },
    {
      title: "By temperature of the sensor",
      rows: bins("sensor-temperature").map((bin) => rateRow(`${degrees(bin.from)} to ${degrees(bin.to)} \u00b0C`, bin)),
    },
  ].filter(({ rows }) => rows.length > 0);
}

const degrees = (value: number) => `${value < 0 ? "\u2212" : ""}${Math.abs(value)}`;
const filterLabel = ({ filter }: FilterRate) => (filter === "" ? "no filter named" : filter);

interface RateRow extends IntervalRow {
  readonly subs: number;
}

function rateRow(name: string, { subs, rejected, interval }: Pick<RateBin, "subs" | "rejected" | "interval">): RateRow {
  return {
    label: `${name}: ${rejected} of ${subs}`,
    value: rejected / subs,
    ...interval,
    subs,
    look: rateLook,
    hover: [
      name,
      `${rejected} of ${countWords(subs, "sub")} dropped: ${percentWords(rejected / subs)} (90 %: ${percentWords(interval.low)} to ${percentWords(interval.high)})`,
    ],
  };
}

/**
 * The same rates as a table; filters also as they would be at the same nights and altitudes.
 * @example
 * ```ts
 * import { rejectRatesTable, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(rejectRatesTable(night.explanation.drivers).includes("<table"));
 * ```
 */
export function rejectRatesTable(drivers: Drivers): string {
  const ratio = ({ filter, standardisedRate, oddsRatio, oddsInterval, reversed }: FilterRate) =>
    `${filter || "no filter named"}: ${listWords([
      `${percentWords(standardisedRate)} at the nights and altitudes of all subs`,
      ...(Number.isFinite(oddsRatio) && Number.isFinite(oddsInterval.low) && Number.isFinite(oddsInterval.high)
        ? [
            `odds ${oddsRatio.toFixed(2)} times the others\u2019 (${oddsInterval.low.toFixed(2)} to ${oddsInterval.high.toFixed(2)})`,
          ]
        : []),
      ...(reversed ? ["the plain comparison points the other way"] : []),
    ])}`;
  const rows = rateGroups(drivers).flatMap(({ title, rows: group }) =>
    group.map(({ label, value, low, high }) => [
      `${title}, ${label}`,
      percentWords(value),
      percentWords(low),
      percentWords(high),
    ]),
  );
  const notes = drivers.filterRates.length > 1 ? drivers.filterRates.map(ratio) : [];
  return `${tableHtml("Share of subs dropped, with 90 % intervals", ["Subs", "Dropped", "From", "To"], rows)}${
    notes.length === 0
      ? ""
      : tableHtml(
          "Filters compared fairly",
          ["Filter"],
          notes.map((note) => [note]),
        )
  }`;
}
