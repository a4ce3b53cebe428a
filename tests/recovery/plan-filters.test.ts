// Filters: how many stars an alignment frame shows, against simulated frames of other exposures and filters that the forecast
// has not seen; and what a filter is worth, against skies and band widths set by hand.
import { beforeAll, describe, expect, it } from "vitest";
import { alignmentStars } from "../../src/plan/alignment-stars.js";
import { filterAdvice } from "../../src/plan/filter-advice.js";
import { noiseModels } from "../../src/plan/noise-model.js";
import { alignmentWarning, filterAdviceText, filterWarningWords } from "../../src/show/filter-words.js";
import { objectKinds, skyObjects } from "../../src/sky/objects.js";
import { type FrameRow, type FrameTable, fromRows, selectRows } from "../../src/terms/frame-table.js";
import { readScenario, simulatedTable } from "./simulated-tables.js";

const camera = { electronsPerAdu: 0.8, readNoiseE: 1.7 };
const lengths = { L: [5, 30], Ha: [15, 90] } as const;
/** Fields unlike in how star counts grow (log10 a magnitude) and in their number. */
const fields = [
  { seed: 41, slope: 0.26, perDeg2: 150 },
  { seed: 42, slope: 0.34, perDeg2: 250 },
  { seed: 43, slope: 0.4, perDeg2: 100 },
  { seed: 44, slope: 0.3, perDeg2: 400 },
];

describe("alignment stars, two filters and two exposures, four fields", () => {
  const nights: FrameTable[] = [];
  beforeAll(async () => {
    const base = readScenario("two-filters");
    for (const { seed, slope, perDeg2 } of fields) {
      const [[name, target]] = Object.entries(base.targets) as [[string, (typeof base.targets)[string]]];
      const scenario = {
        ...base,
        camera: { ...base.camera, width: 640, height: 480 },
        targets: { [name]: { ...target, starSlope: slope, starsPerDeg2AtMag12: perDeg2 } },
        nights: [
          {
            ...base.nights[0]!,
            readOutS: 60,
            events: [],
            repeat: 2,
            blocks: (["L", "Ha"] as const).flatMap((filter) =>
              lengths[filter].map((exposureS) => ({ target: name, filter, exposureS, frames: 2, pauseMin: 0 })),
            ),
          },
        ],
      };
      nights.push((await simulatedTable(scenario, { seed })).table);
    }
  }, 60_000);

  it("the counts of one exposure tell those of the other, within the 10-90 % range where they should be", () => {
    const rows: string[] = [];
    let [inside, all] = [0, 0];
    const errors: number[] = [];
    for (const [n, table] of nights.entries())
      for (const filter of ["L", "Ha"] as const)
        for (const [from, to] of [lengths[filter], [...lengths[filter]].reverse() as [number, number]]) {
          const of = (exposureS: number) =>
            [...Array(table.rows).keys()].filter(
              (row) => table.filter[row] === filter && table.exposureS[row] === exposureS,
            );
          const seen = selectRows(table, of(from!));
          const [told] = alignmentStars(seen, { exposuresS: [to!], models: noiseModels(seen, camera), seed: n });
          const { p10, p50, p90 } = told!.frames[0]!.stars;
          for (const row of of(to!)) {
            const count = table.starCount[row]!;
            all++;
            if (count >= p10 && count <= p90) inside++;
            errors.push(Math.abs(Math.log(Math.max(0.5, p50) / Math.max(0.5, count))));
          }
          rows.push(
            `field ${n} ${filter} ${from} -> ${to} s: ${p10.toFixed(0)}, ${p50.toFixed(0)}, ${p90.toFixed(0)}; counted ${of(
              to!,
            )
              .map((row) => table.starCount[row])
              .join(" ")} (from ${told!.counted.p50})`,
          );
        }
    const typical = Math.exp(errors.sort((a, b) => a - b)[errors.length >> 1]!);
    console.info([...rows, `${inside} of ${all} inside; typical factor ${typical.toFixed(2)}`].join("\n"));
    expect(all).toBe(64);
    // Frames of a field share its stars, so 64 counts are worth some 16 independent ones: 80 % with twice their error.
    expect(inside / all).toBeGreaterThan(0.6);
    expect(typical).toBeLessThan(1.25);
  });

  it("both exposures together measure how counts grow, and narrow the range", () => {
    for (const [n, table] of nights.entries()) {
      const rows = [...Array(table.rows).keys()].filter((row) => table.filter[row] === "L");
      const both = selectRows(table, rows);
      const long = selectRows(
        table,
        rows.filter((row) => table.exposureS[row] === 30),
      );
      const told = (of: FrameTable) => alignmentStars(of, { exposuresS: [10], models: noiseModels(of, camera) })[0]!;
      const [wide, narrow] = [told(long), told(both)];
      expect(wide.slope.from).toBe("assumed");
      expect(narrow.slope.from).toBe("measured");
      // log10 N a magnitude over 0.4 is the slope in log depth; counting near the limit and crowding cost a little.
      console.info(`field ${n}: slope ${narrow.slope.value.toFixed(2)} of ${(fields[n]!.slope / 0.4).toFixed(2)}`);
      expect(Math.abs(narrow.slope.value - fields[n]!.slope / 0.4)).toBeLessThan(2.5 * narrow.slope.error);
      const width = ({ frames }: typeof wide) => Math.log(frames[0]!.stars.p90 / frames[0]!.stars.p10);
      expect(width(narrow)).toBeLessThan(width(wide));
    }
  });

  it("a narrow band that has not been used is guessed from the broad one within its range", () => {
    let inside = 0;
    for (const [n, table] of nights.entries()) {
      const of = (filter: string, exposureS: number) =>
        [...Array(table.rows).keys()].filter(
          (row) => table.filter[row] === filter && table.exposureS[row] === exposureS,
        );
      const seen = selectRows(table, of("L", 30));
      const told = alignmentStars(seen, {
        exposuresS: [90],
        models: noiseModels(seen, camera),
        unused: { filter: "Ha", filterKind: "narrowband" },
        narrowNm: 7,
      });
      expect(told.map(({ basis }) => basis)).toEqual(["own-counts", "other-filter"]);
      const { p10, p50, p90 } = told[1]!.frames[0]!.stars;
      const counted = of("Ha", 90).map((row) => table.starCount[row]!);
      console.info(
        `field ${n}: Ha 90 s from L: ${p10.toFixed(0)}, ${p50.toFixed(0)}, ${p90.toFixed(0)}; counted ${counted}`,
      );
      if (counted[0]! >= p10 && counted[0]! <= p90) inside++;
      // The simulated filters' widths are 240 and 7 nm; 280 and 7 were assumed.
      expect(p50 / counted[0]!).toBeGreaterThan(0.5);
      expect(p50 / counted[0]!).toBeLessThan(2);
    }
    expect(inside).toBeGreaterThanOrEqual(2);
  });
});

/** Subs of 30 s at 1 e-/ADU and read noise 2 e- under a sky of so many e-/s. */
function subs(target: string, filter: string, filterKind: string, skyEPerS: number, change: Partial<FrameRow> = {}) {
  return Array.from({ length: 12 }, (_, i) => ({
    kind: "light",
    verdict: "keep",
    target,
    filter,
    filterKind,
    exposureS: 30,
    gainSetting: 100,
    startUtc: new Date(Date.UTC(2025, 9, 16, 19, i)).toISOString(),
    backgroundAdu: 500,
    noiseAdu: Math.sqrt(30 * skyEPerS + 4),
    fwhmPx: 2.5,
    starCount: 60,
    transparency: 1,
    effectiveExposureS: 27,
    skyMagArcsec2: 19,
    ...change,
  }));
}
const given = { electronsPerAdu: 1, readNoiseE: 2 };
const adviceOn = (rows: readonly Partial<FrameRow>[], camera = given) => {
  const table = fromRows(rows);
  return filterAdvice(table, { models: noiseModels(table, camera) })[0]!;
};

describe("filter advice", () => {
  it("narrow bands for gas that shines in lines, broad ones for all else (common practice, no source)", () => {
    const wanted = Object.fromEntries(
      objectKinds.map((kind) => {
        const { name } = skyObjects().find((object) => object.kind === kind)!;
        return [kind, adviceOn(subs(name, "L", "broadband", 10)).wanted];
      }),
    );
    expect(wanted).toEqual({
      "emission-nebula": "narrowband",
      "planetary-nebula": "narrowband",
      "supernova-remnant": "narrowband",
      "reflection-nebula": "broadband",
      "dark-nebula": "broadband",
      galaxy: "broadband",
      "globular-cluster": "broadband",
      "open-cluster": "broadband",
      stars: "broadband",
    });
  });

  it("two filters: sized by both skies (worked out by hand)", () => {
    const both = (target: string) =>
      adviceOn([...subs(target, "L", "broadband", 10), ...subs(target, "Ha", "narrowband", 0.3)]);
    // Variances a second: (300 + 4) / 30 and (9 + 4) / 30; lines pass both filters alike: 304 / 13.
    const nebula = both("NGC 281");
    expect(nebula.comparison).toMatchObject({ slow: "L", fast: "Ha", basis: "measured", bound: null, widthsNm: null });
    expect(nebula.comparison!.timeFactor).toBeCloseTo(304 / 13, 9);
    expect(nebula.warnings).toEqual([]);
    // A galaxy loses 0.03 of its light: (13 / 304) / 0.03^2.
    const galaxy = both("M 31");
    expect(galaxy.comparison).toMatchObject({ slow: "Ha", fast: "L" });
    expect(galaxy.comparison!.timeFactor).toBeCloseTo(13 / 304 / 0.0009, 6);
    expect(filterAdviceText(galaxy)).toContain("Ha takes about 48 times as long as L");
  });

  it("one filter: sized by band widths, which are told, and warned of", () => {
    // 7 of 280 nm: sky 0.25 e-/s, with read noise (7.5 + 4) / 30 against 304 / 30.
    const nebula = adviceOn(subs("NGC 281", "L", "broadband", 10));
    expect(nebula.comparison).toMatchObject({ fast: null, basis: "bandwidths", bound: null });
    expect(nebula.comparison!.timeFactor).toBeCloseTo(304 / 11.5, 9);
    expect(nebula.warnings).toEqual([
      { code: "filter-does-not-fit", filter: "L", band: "broadband", wanted: "narrowband" },
    ]);
    // Ha on a galaxy: 40 times the sky and the light: (13 / (9 x 40 + 4)) x 1600.
    const galaxy = adviceOn(subs("M 31", "Ha", "narrowband", 0.3));
    expect(galaxy.comparison!.timeFactor).toBeCloseTo((13 / 364) * 1600, 6);
    expect(galaxy.warnings[0]).toMatchObject({ code: "filter-does-not-fit", wanted: "broadband" });
    expect(filterWarningWords(galaxy.warnings[0]!, "M 31")).toContain("a broadband filter is the usual choice");
  });

  it("less sky, less gain; without read noise only a bound; a filter that fits is not warned of", () => {
    const at = (sky: number) => adviceOn(subs("NGC 281", "L", "broadband", sky)).comparison!.timeFactor;
    expect(at(0.2)).toBeLessThan(at(2));
    expect(at(2)).toBeLessThan(at(20));
    const table = fromRows(subs("NGC 281", "L", "broadband", 10));
    const [bare] = filterAdvice(table, { models: noiseModels(table) });
    expect(bare!.comparison).toMatchObject({ timeFactor: 40, bound: "at-most" });
    expect(adviceOn(subs("NGC 281", "Ha", "narrowband", 1))).toMatchObject({ comparison: null, warnings: [] });
    expect(adviceOn(subs("M 31", "L", "broadband", 1))).toMatchObject({ comparison: null, warnings: [] });
    expect(adviceOn(subs("NGC 281", "", "none", 1)).warnings[0]).toMatchObject({ code: "filter-does-not-fit" });
  });

  it("what is not known is said: object, filter", () => {
    const gnome = adviceOn(subs("My garden gnome", "L", "broadband", 1));
    expect(gnome).toMatchObject({ object: null, wanted: null, comparison: null });
    expect(gnome.warnings).toEqual([{ code: "object-not-known" }]);
    expect(adviceOn(subs("M 31", "3", "unknown", 1)).warnings).toEqual([{ code: "filter-not-known", filter: "3" }]);
  });

  it("few stars in a narrow band under a bright sky are warned of, with the exposure that mends it", () => {
    const starsOf = (starCount: number) => {
      const table = fromRows(subs("NGC 281", "Ha", "narrowband", 3, { starCount }));
      return alignmentStars(table, { exposuresS: [5], models: noiseModels(table, given) })[0]!;
    };
    // Six times less exposure under sky: depth by sqrt 6, stars by 6^0.43 or so, less with read noise: 12 become 5.
    expect(starsOf(12).verdict).toBe("too-few");
    expect(alignmentWarning(starsOf(12))).toMatch(
      /5 s in Ha shows about \d stars .*10 are wanted: expose at least \d+ s/,
    );
    expect(starsOf(25).verdict).toBe("may-be-too-few");
    expect(starsOf(400).verdict).toBe("enough");
    expect(alignmentWarning(starsOf(400))).toBeNull();
    expect(() => alignmentStars(fromRows([]), { exposuresS: [0] })).toThrow(/0 s/);
  });
});
