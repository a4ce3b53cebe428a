// Charts hold the numbers that they are given, and each has its numbers as a table. Expected values are the inputs, made
// up here, and a little mental arithmetic (Wilson's interval for 0 of n ends at z^2 / (n + z^2)).
import { describe, expect, it } from "vitest";
import type { Drivers, DriverTest } from "../../src/explain/drivers-terms.js";
import type { Episode } from "../../src/explain/episodes.js";
import type { Cut, Frontier, StackOutcome } from "../../src/grade/frontier.js";
import { wilsonInterval } from "../../src/numbers/proportion-intervals.js";
import { subLengthAdvice } from "../../src/plan/sub-length.js";
import { comingNights } from "../../src/plan/windows.js";
import { calendarFigure, calendarTable } from "../../src/show/calendar-chart.js";
import { causeLooks } from "../../src/show/cause-look.js";
import { chart, inColours, tableText } from "../../src/show/chart.js";
import type { Figure } from "../../src/show/chart-panels.js";
import { quantitiesFigure, timelineFigure } from "../../src/show/charts.js";
import { stackDepthFigure, stackDepthTable } from "../../src/show/depth-chart.js";
import {
  changeWords,
  effectsFigure,
  effectsTable,
  rejectOddsFigure,
  rejectRatesFigure,
  rejectRatesTable,
} from "../../src/show/driver-charts.js";
import { episodesFigure, episodesTable } from "../../src/show/episode-chart.js";
import { frontierFigure, frontierTable } from "../../src/show/frontier-chart.js";
import { longerSubsFigure, longerSubsTable, subLengthFigure, subLengthTable } from "../../src/show/sub-length-chart.js";
import { nightYieldsFigure, nightYieldsTable } from "../../src/show/yield-chart.js";
import { causeCodes } from "../../src/terms/causes.js";
import { hostileNames } from "../end-to-end/report-hostile.js";
import { inventedNight, inventedSite } from "../end-to-end/report-night.js";

type Trace = Record<string, unknown> & { x: (number | null)[]; y: (number | null)[]; name?: string; mode?: string };
const traces = (figure: Figure | null) => (figure?.data ?? []) as unknown as Trace[];
const called = (figure: Figure | null, name: string) => traces(figure).filter((trace) => trace.name === name);
const tableFields = (html: string) =>
  tableText(html)
    .split("\n")
    .map((line) => line.split(/ {2,}/));
const bytes = (value: unknown) => Buffer.byteLength(JSON.stringify(value));

const effect = (estimate: number, low: number, high: number): DriverTest["effect"] => ({
  estimate,
  interval: { low, high },
  p: 0.001,
  adjustedP: 0.004,
  partialSpearman: 0.3,
  subs: 120,
  nights: 2,
  effectiveSubs: 40,
});
const filterFactor = (filter: string) => ({ code: "filter", filter, against: "L", step: 1 }) as const;
const found: DriverTest = {
  metric: "fwhm",
  factors: [{ code: "sensor-temperature", step: 1 }],
  effect: effect(0.031, 0.012, 0.05),
  hourFitsAsWell: false,
};
const open: DriverTest = {
  ...found,
  metric: "noise",
  factors: [filterFactor("Ha")],
  effect: effect(-0.12, -0.3, 0.06),
};
const odds: DriverTest = { ...found, metric: "rejects", effect: effect(2.2, 0.4, Number.POSITIVE_INFINITY) };
const drivers: Drivers = {
  design: {
    subs: 120,
    nights: 2,
    factors: [],
    inseparable: [],
    equalAltitudePairs: 0,
    pairTemperatureStepC: Number.NaN,
    temperatureRangeInAltitudeBinC: 3,
  },
  laws: [],
  outcomes: [{ ...found, kind: "finding" }],
  tests: [open, odds, found],
  filterRates: [
    {
      filter: "Ha",
      subs: 40,
      rejected: 10,
      rate: 0.25,
      interval: wilsonInterval(10, 40, 0.9),
      standardisedRate: 0.3,
      oddsRatio: 1.4,
      oddsInterval: { low: 0.6, high: 3.3 },
      homogeneityP: 0.5,
      reversed: false,
    },
  ],
  rateBins: [
    { factor: "altitude", from: 20, to: 30, subs: 30, rejected: 0, interval: wilsonInterval(0, 30, 0.9) },
    { factor: "altitude", from: 30, to: 40, subs: 2, rejected: 2, interval: wilsonInterval(2, 2, 0.9) },
  ],
  because: null,
};

describe("effects and rates", () => {
  it("draw each estimate at its place with its own interval, the claimed one by another sign", () => {
    const marks = traces(effectsFigure(drivers)).filter(({ error_x }) => error_x !== undefined);
    const drawn = marks.map(({ x, error_x, marker }) => {
      const { array, arrayminus } = error_x as { array: number[]; arrayminus: number[] };
      return [x[0], x[0]! - arrayminus[0]!, x[0]! + array[0]!, (marker as { symbol: string }).symbol];
    });
    expect(drawn).toHaveLength(2);
    for (const [i, [estimate, low, high, symbol]] of [
      [0.031, 0.012, 0.05, "circle"],
      [-0.12, -0.3, 0.06, "circle-open"],
    ].entries()) {
      expect(drawn[i]![0]).toBeCloseTo(estimate as number, 12);
      expect(drawn[i]![1]).toBeCloseTo(low as number, 12);
      expect(drawn[i]![2]).toBeCloseTo(high as number, 12);
      expect(drawn[i]![3]).toBe(symbol);
    }
    const table = tableText(effectsTable(drivers));
    // exp(0.031) is 1.0315, exp(-0.12) 0.887.
    expect(table).toMatch(/Width of the stars +sensor 1 °C warmer +\+3\.1 % +\+1\.2 % +\+5\.1 %.*beyond chance/);
    expect(table).toMatch(/Noise of the background +filter Ha instead of L +−11 % .*may be chance/);
  });

  it("end an interval without limit at the edge, with an arrow", () => {
    const figure = rejectOddsFigure(drivers);
    const [least, most] = (figure!.layout.xaxis as { range: [number, number] }).range;
    const [arrow] = called(figure, "reaches beyond the chart");
    expect(arrow!.x).toEqual([most]);
    expect((arrow!.marker as { symbol: string }).symbol).toBe("triangle-right");
    expect(-least).toBe(most);
    expect(JSON.stringify(figure)).not.toContain("null,null");
    expect(changeWords(Math.log(3.2))).toBe("3.2 times");
    expect(changeWords(Number.POSITIVE_INFINITY)).toBe("without limit");
  });

  it("draw shares with Wilson's interval; what rests on fewer than five subs is in the table only", () => {
    const figure = rejectRatesFigure(drivers);
    const marks = traces(figure).filter(({ error_x }) => error_x !== undefined);
    expect(marks.map(({ x }) => x)).toEqual([[0.25], [0]]);
    const z2 = 1.6448536 ** 2;
    expect((marks[1]!.error_x as { array: number[] }).array[0]).toBeCloseTo(z2 / (30 + z2), 6);
    expect(figure!.note).toContain("fewer than 5 subs");
    expect(tableText(rejectRatesTable(drivers))).toContain("30 to 40°: 2 of 2");
  });

  it("are absent when nothing was tested", () => {
    const none: Drivers = { ...drivers, outcomes: [], tests: [], filterRates: [], rateBins: [] };
    expect([effectsFigure(none), rejectOddsFigure(none), rejectRatesFigure(none)]).toEqual([null, null, null]);
  });
});

describe("frontier", () => {
  const outcome = (subs: number, depth: number, fwhmArcsec: number): StackOutcome => ({
    subs,
    exposureS: 60 * subs,
    effectiveS: 50 * subs,
    depth,
    depthWeighted: depth * 1.01,
    starPeak: depth,
    merit: depth,
    fwhmPx: fwhmArcsec / 2,
    fwhmArcsec,
  });
  const cut = (subs: number, depth: number, fwhm: number): Cut => ({
    ...outcome(subs, depth, fwhm),
    keptFraction: subs / 40,
    poorestRow: subs,
  });
  const given: Frontier = {
    kept: outcome(30, 1, 3.2),
    all: outcome(40, 0.97, 3.6),
    cuts: [cut(10, 0.61, 2.9), cut(20, 0.85, 3.0), cut(30, 1, 3.2), cut(40, 0.97, 3.6)],
  };

  it("shows each cut, and marks that of the verdicts", () => {
    const figure = frontierFigure(given);
    const [line] = called(figure, "the best subs, more and more of them");
    expect(line!.x).toEqual([2.9, 3.0, 3.2, 3.6]);
    expect(line!.y).toEqual([61, 85, 100, 97]);
    expect(called(figure, "as judged, 30")[0]).toMatchObject({ x: [3.2], y: [100] });
    const rows = tableText(frontierTable(given)).split("\n");
    expect(rows).toHaveLength(7);
    expect(rows[1]).toMatch(/^as judged +30 +30 min +25 min +100\.0 +101\.0 +1\.60 +3\.20$/);
  });

  it("uses pixels where the image scale is not known", () => {
    const bare = (one: StackOutcome) => ({ ...one, fwhmArcsec: Number.NaN });
    const figure = frontierFigure({
      kept: bare(given.kept),
      all: bare(given.all),
      cuts: given.cuts.map((one) => ({ ...one, fwhmArcsec: Number.NaN })),
    });
    expect(traces(figure)[0]!.x).toEqual([1.45, 1.5, 1.6, 1.8]);
    expect(JSON.stringify(figure!.layout)).toContain("(FWHM), px");
  });
});

describe("depth and sub length", () => {
  it("shows the noise as measured beside 1 / sqrt(n)", () => {
    const stack = { counts: [1, 4, 16, 100], noise: [12, 6, 3.3, 2] };
    const figure = stackDepthFigure(stack);
    expect(called(figure, "measured")[0]).toMatchObject({ x: stack.counts, y: stack.noise });
    for (const [i, noise] of [12, 6, 3, 1.2].entries())
      expect(called(figure, "only random noise")[0]!.y[i]).toBeCloseTo(noise, 12);
    expect(figure!.note).toContain("1.67 times"); // 2 / 1.2
    expect(tableText(stackDepthTable(stack))).toMatch(/100 +2 +1\.20 +1\.667/);
    expect(stackDepthFigure({ counts: [5], noise: [1] })).toBeNull();
    expect(() => stackDepthFigure({ counts: [1, 2], noise: [1] })).toThrow(/one noise a stack/);
  });

  it("shows the curve, the present length and the range with its reasons", () => {
    // No shorter than 8 / (1.05^2 - 1) = 78 s; corners blur by 1 px at 30 / 0.2 = 150 s.
    const advice = subLengthAdvice({ presentS: 30, readTimeS: 8, overheadS: 3, rotationBlurPx: 0.2 });
    const figure = subLengthFigure(advice);
    const [line] = called(figure, "depth per clock time");
    expect(line!.x).toEqual(advice.curve.map(({ subS }) => subS));
    expect(line!.y[line!.x.indexOf(30)]).toBeCloseTo((100 * 30 * 30) / (33 * 38), 9);
    expect(called(figure, "now")[0]!.x).toEqual([30]);
    const [shape] = figure!.layout.shapes as { x0: number; x1: number }[];
    expect(shape!.x0).toBeCloseTo(78.05, 2);
    expect(shape!.x1).toBeCloseTo(150, 9);
    expect(figure!.note).toContain("No shorter than 78 s because of read noise. No longer than 3 min because of field");
    expect(tableText(subLengthTable(advice))).toContain("30 s (now)");
    const both = subLengthAdvice({ presentS: 30, readTimeS: 8, overheadS: 3, rotationBlurPx: 1 });
    expect(subLengthFigure(both)!.layout.shapes).toMatchObject([{ type: "line", x0: 30, x1: 30 }]);
  });

  it("shows the subs added up with their intervals", () => {
    const one = {
      times: 1,
      exposureS: 10,
      subs: 100,
      kept: 80,
      keepRate: 0.8,
      keepInterval: { low: 0.73, high: 0.86 },
      fwhmPx: 2.1,
      rotationBlurPx: 0.2,
      snrPerClock: 1,
      snrInterval: { low: 1, high: 1 },
      stepS: 12,
      filesPerHour: 300,
      bytesPerHour: 3e9,
    };
    const results = [one, { ...one, times: 3, exposureS: 30, subs: 33, kept: 20, keepRate: 0.6, snrPerClock: 1.04 }];
    const figure = longerSubsFigure(results);
    expect(traces(figure).flatMap(({ x }) => x)).toEqual([0.8, 0.6, 1, 1.04]);
    expect(tableText(longerSubsTable(results))).toMatch(/30 s +33 +20 +60 %/);
    expect(longerSubsFigure([one])).toBeNull();
  });
});

describe("yield of nights", () => {
  const night = { firstMs: Date.UTC(2026, 0, 4, 18), subs: 100, kept: 80, exposureS: 60, altitudeDeg: 51.2, rows: [] };
  const one = { ...night, keptExposureS: 4800, effectiveS: 3600, clockS: 7200 };
  const two = { ...night, firstMs: Date.UTC(2026, 1, 6, 18), keptExposureS: 3000, effectiveS: 900, clockS: 9000 };
  const depth = {
    target: "<b>M 1",
    filter: "Ha",
    filterKind: "narrowband",
    nights: [one, two],
    subs: 200,
    kept: 160,
    exposureS: 7800,
    effectiveS: 4500,
    yield: 4500 / 16_200,
    snrOfOneSub: 8,
    snrEqualWeights: 8,
    fwhmPx: 2,
    pixelScaleArcsec: 2,
    rows: [],
  };

  it("shows clock time, kept exposure and worth of each night, in hours", () => {
    const figure = nightYieldsFigure([depth]);
    expect(called(figure, "time at the telescope")[0]!.x).toEqual([0, 2, null, 0, 2.5, null]);
    expect(called(figure, "kept exposure")[0]!.x).toEqual([0, 4 / 3, null, 0, 5 / 6, null]);
    expect(called(figure, "worth under the best conditions")[0]!.x).toEqual([0, 1, null, 0, 0.25, null]);
    expect(JSON.stringify(figure)).toContain("&lt;b&gt;M 1, Ha: 1 h 15 min effective");
    expect(tableFields(nightYieldsTable([depth]))[2]).toEqual([
      "<b>M 1, Ha",
      "2026-02-06 18:00",
      "100",
      "80",
      "50 min",
      "15 min",
      "2 h 30 min",
      "10 %",
      "51°",
    ]);
    const short = nightYieldsFigure([{ ...depth, nights: [{ ...one, clockS: 1200 }] }]);
    expect(called(short, "time at the telescope")[0]!.x).toEqual([0, 20, null]);
    const many = Array.from({ length: 55 }, () => one);
    expect(nightYieldsFigure([{ ...depth, nights: many }])!.note).toContain("the 15 before them");
    expect(nightYieldsFigure([])).toBeNull();
  });
});

describe("calendar", () => {
  const windows = comingNights({
    site: inventedSite,
    target: { raDeg: 314.75, decDeg: 44.33 },
    fromMs: Date.UTC(2026, 7, 19, 20),
    nights: 5,
    hoursPerNight: 2,
  });
  const figure = calendarFigure(windows, { utcOffsetH: 2 });

  it("has a bar for each night, to five minutes and no closer", () => {
    const [dark] = called(figure, "dark");
    const hours = dark!.x.filter((x) => x !== null);
    expect(hours).toHaveLength(10);
    windows.forEach(({ dark: night }, i) => {
      // The clock on the wall is two hours ahead; hours count from the midnight before the night.
      const start = (night!.startMs - Date.UTC(2026, 7, 19 + i) + 2 * 3_600_000) / 3_600_000;
      expect(Math.abs(hours[2 * i]! - start)).toBeLessThanOrEqual(2.5 / 60 + 1e-9);
      expect(Math.abs(hours[2 * i]! * 12 - Math.round(hours[2 * i]! * 12))).toBeLessThan(1e-9);
    });
  });

  it("draws the Moon's lit part as an area, and says the rest in the table", () => {
    const [ring, disc] = called(figure, "Moon");
    const size = (trace: Trace, i: number) => (trace.marker as { size: number[] }).size[i]!;
    for (const [i, { moonIllumination }] of windows.entries())
      expect((size(disc!, i) / size(ring!, i)) ** 2).toBeCloseTo(moonIllumination, 9);
    const table = tableText(calendarTable(windows, { utcOffsetH: 2 }));
    expect(table).toContain("19 Aug");
    expect(table.split("\n")).toHaveLength(6);
    const high = comingNights({
      site: { latitudeDeg: 68, longitudeDeg: 20, heightM: 0 },
      target: { raDeg: 0, decDeg: 0 },
      fromMs: Date.UTC(2026, 5, 21),
      nights: 2,
    });
    expect(tableText(calendarTable(high))).toContain("it does not get dark enough");
    expect(JSON.stringify(calendarFigure(high))).toContain("not dark");
    expect(calendarFigure([])).toBeNull();
  });
});

describe("episodes", () => {
  const night = inventedNight(300);
  const light = Array.from(night.table.kind.keys()).filter((row) => night.table.kind[row] === "light");
  const episode = (cause: Episode["cause"], first: number, last: number): Episode => {
    const rows = light.slice(first, last + 1);
    const end = Date.parse(`${night.table.startUtc[rows.at(-1)!]!}Z`) + 1000 * night.table.exposureS[rows[0]!]!;
    return {
      cause,
      night: 0,
      startUtc: night.table.startUtc[rows[0]!]!,
      endUtc: new Date(end).toISOString(),
      rows,
      dropped: 2,
      costS: 600,
      probability: 0.7,
    };
  };
  const withEpisodes = (episodes: Episode[]) => ({ ...night, explanation: { ...night.explanation, episodes } });

  it("become bars from the start of the first sub to the end of the last", () => {
    const given = [episode("cloud", 20, 60), episode("wind", 100, 140)];
    const figure = episodesFigure(withEpisodes(given));
    const bars = traces(figure);
    expect(bars.map(({ name }) => name)).toEqual(["cloud", "wind"]);
    bars.forEach(({ x }, i) => {
      expect(Math.min(...(x as number[]))).toBeCloseTo(Date.parse(`${given[i]!.startUtc}Z`), 0);
      expect(Math.max(...(x as number[]))).toBeCloseTo(Date.parse(given[i]!.endUtc), 0);
    });
    expect(tableText(episodesTable(withEpisodes(given)))).toMatch(/cloud +70 % +41 +2 +10 min/);
    expect(JSON.stringify(timelineFigure(withEpisodes(given)))).toContain("cloud: 41 subs, 2 dropped");
    expect(episodesFigure(withEpisodes([]))).toBeNull();
  });

  it("each cause has its own hatching and its own sign", () => {
    const looks = causeCodes.map((cause) => causeLooks[cause]);
    expect(new Set(looks.map(({ pattern, solidity }) => `${pattern}${solidity}`)).size).toBe(causeCodes.length);
    expect(new Set(looks.map(({ sign }) => sign)).size).toBe(causeCodes.length);
  });

  it("stay few and small on a night of 10,000 subs", () => {
    const large = inventedNight(10_000, { hours: 10 });
    const subs = Array.from(large.table.kind.keys()).filter((row) => large.table.kind[row] === "light");
    const episodes = Array.from({ length: 900 }, (_, i) => ({
      ...episode("wind", 0, 0),
      rows: subs.slice(i * 11, i * 11 + 5),
      startUtc: large.table.startUtc[subs[i * 11]!]!,
      costS: i,
    }));
    const result = { ...large, explanation: { ...large.explanation, episodes } };
    const started = performance.now();
    const figures = [timelineFigure(result), quantitiesFigure(result), episodesFigure(result)];
    const tookMs = performance.now() - started;
    const sizes = figures.map((figure) => bytes(figure) / 1e6);
    console.log(`charts of 10,000 subs: ${sizes.map((mb) => mb.toFixed(2)).join(", ")} MB in ${tookMs.toFixed(0)} ms`);
    expect(sizes.reduce((sum, mb) => sum + mb, 0)).toBeLessThan(1);
    expect(traces(figures[2]!)).toHaveLength(120);
    expect(figures[2]!.note).toContain("the other 780");
    // What stands out is drawn whatever its verdict.
    const drawn = traces(figures[1]!).flatMap(({ y }) => y as number[]);
    const stars = Array.from(large.table.starCount).filter(Number.isFinite);
    const widths = Array.from(large.table.fwhmPx).filter(Number.isFinite);
    for (const value of [Math.min(...stars), Math.max(...stars)]) expect(drawn).toContain(value);
    expect(drawn).toContain(Number(Math.max(...widths).toFixed(2)));
  });
});

describe("a chart for notebooks and pages", () => {
  const hostile: Drivers = {
    ...drivers,
    tests: hostileNames.map((name) => ({ ...open, factors: [filterFactor(name)] })),
    outcomes: [],
    filterRates: hostileNames.map((filter) => ({ ...drivers.filterRates[0]!, filter })),
  };

  it("cannot be broken by names", () => {
    for (const [figure, table] of [
      [effectsFigure(hostile), effectsTable(hostile)],
      [rejectRatesFigure(hostile), rejectRatesTable(hostile)],
    ] as const) {
      const made = chart(figure!, { title: hostileNames[0]!, table });
      for (const markup of [made.svg, made.html]) expect(markup).not.toMatch(/<(?:img (?!src="data:)|script|\/title)/i);
      // The chart library reads a little HTML in labels; ours holds none but bold titles and line breaks.
      const texts = JSON.stringify(figure).match(/<[^>]*>/g) ?? [];
      expect(texts.filter((tag) => !/^<\/?(?:b|br)>$/.test(tag))).toEqual([]);
    }
  });

  it("has every colour filled in, in both themes, and says the numbers", () => {
    const figure = effectsFigure(drivers)!;
    for (const theme of ["light", "dark"] as const) {
      const text = JSON.stringify(inColours(figure, theme));
      expect(text).not.toContain("var(--");
      expect(text).toMatch(/#[0-9a-f]{6}/);
    }
    const made = chart(figure, { title: "What quality goes with", table: effectsTable(drivers) });
    const bundle = made[Symbol.for("Jupyter.display") as never] as unknown as () => Record<string, unknown>;
    expect(Object.keys(bundle())).toEqual(["application/vnd.plotly.v1+json", "text/html", "text/plain"]);
    expect(made.text).toContain("+3.1 %");
    expect(made.html).toContain("data:image/svg+xml;base64,");
  });
});
