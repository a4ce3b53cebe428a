// The story hidden in the sample nights, as the summary, the report and the causes tell it, held to the truth tables that the
// simulation wrote beside the nights. Expected values are read from these tables; nothing is taken from the program's output.
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { beforeAll, describe, expect, it } from "vitest";
import { type TriagedNight, triageNight } from "../../src/night.js";
import { nightSummary } from "../../src/show/night-summary.js";
import { reportHtml } from "../../src/show/report.js";
import { type CauseCode, causeRegistry } from "../../src/terms/causes.js";
import { readEcsvColumns } from "../../src/terms/ecsv.js";
import { sampleStore } from "../house/sample-store.js";

const sample = fileURLToPath(new URL("../../sample-data/", import.meta.url));
interface Truth {
  readonly night: string;
  readonly file: string;
  readonly kind: string;
  readonly cause: string;
  readonly verdict: string;
  readonly events: readonly string[];
  readonly startMs: number;
}
const truth: Truth[] = readdirSync(join(sample, "truth")).flatMap((name) => {
  const columns = readEcsvColumns(readFileSync(join(sample, "truth", name), "utf8"), name);
  const of = (column: string) => columns.find((each) => each.name === column)!.values;
  const night = name.replace(".ecsv", "");
  return Array.from({ length: of("file").length }, (_, i) => ({
    night,
    file: `${night}/${of("file")[i]}`,
    kind: String(of("kind")[i]),
    cause: String(of("cause")[i]),
    verdict: String(of("verdict")[i]),
    events: String(of("events")[i]).split(";"),
    startMs: Date.parse(String(of("startUtc")[i])),
  }));
});
const truthOf = new Map(truth.map((one) => [one.file, one]));
/** What an event of the simulation makes a sub suffer from. */
const eventsOf: Partial<Record<CauseCode, readonly string[]>> = {
  cloud: ["cloud"],
  dew: ["dew"],
  focus: ["focus-drift"],
  wind: ["wind"],
  tracking: ["bump"],
  twilight: ["twilight"],
  "low-altitude": ["low-altitude"],
  "warm-sensor": ["fan-off"],
  "satellite-or-aircraft": ["satellites", "aircraft"],
  "bad-file": ["truncated-file", "foreign-file"],
};

let night: TriagedNight;
const rowOf = (file: string) => night.table.file.indexOf(file);
beforeAll(async () => {
  night = await triageNight([join(sample, "nights")], { jobs: 2, store: sampleStore() });
}, 60_000);

describe("the story of the sample nights", () => {
  it("every file of the truth tables is a row, and no other; damaged files and the dark frame are known for what they are", () => {
    expect([...night.table.file].sort()).toEqual(truth.map(({ file }) => file).sort());
    for (const { file, cause, kind } of truth) {
      const told = night.table.kind[rowOf(file)];
      expect([file, told]).toEqual([file, cause === "bad-file" ? "unreadable" : kind]);
    }
  });

  it("verdicts are those that the subs deserve: nearly no good sub is dropped, and no bad one kept without a remark", () => {
    const good = truth.filter(({ verdict }) => verdict === "keep");
    const bad = truth.filter(({ verdict }) => verdict === "drop");
    const told = (of: readonly Truth[], verdict: string) =>
      of.filter(({ file }) => night.table.verdict[rowOf(file)] === verdict).length;
    console.log(
      `of ${good.length} good subs ${told(good, "drop")} are dropped; of ${bad.length} bad ones ${told(bad, "keep")} are kept and ${told(bad, "borderline")} borderline`,
    );
    expect(bad.length).toBeGreaterThan(40);
    expect(told(good, "drop") / good.length).toBeLessThanOrEqual(0.02);
    expect(told(bad, "keep")).toBe(0);
    expect(told(bad, "drop") / bad.length).toBeGreaterThanOrEqual(0.9);
  });

  it("what truly spoiled subs in a night has its episode then, and nine of ten of its subs lie in it", () => {
    const spoiled = truth.filter(({ verdict, cause }) => verdict !== "keep" && cause !== "");
    const kinds = new Map<string, Truth[]>();
    for (const one of spoiled)
      kinds.set(`${one.night} ${one.cause}`, [...(kinds.get(`${one.night} ${one.cause}`) ?? []), one]);
    const lines: string[] = [];
    for (const [kind, subs] of kinds) {
      const rows = new Set(
        night.explanation.episodes.filter(({ cause }) => cause === subs[0]!.cause).flatMap((e) => [...e.rows]),
      );
      const within = subs.filter(({ file }) => rows.has(rowOf(file))).length;
      lines.push(`${kind}: ${within} of ${subs.length}`);
      // A single sub between two causes may go to its neighbour's.
      expect(within, kind).toBeGreaterThanOrEqual(Math.floor(0.9 * subs.length));
    }
    console.log(lines.join("; "));
    // All of the story that sample-data/README.md tells.
    const told = new Set(spoiled.map(({ night: when, cause }) => `${when.slice(-2)} ${cause}`));
    for (const part of ["18 cloud", "18 tracking", "18 bad-file", "18 low-altitude", "20 focus", "20 dew"])
      expect(told).toContain(part);
    for (const part of ["27 wind", "27 warm-sensor", "27 bad-file", "27 twilight"]) expect(told).toContain(part);
  });

  it("no episode is invented: its subs carry the event that its cause stands for", () => {
    for (const { cause, rows, startUtc } of night.explanation.episodes) {
      const carrying = rows.filter((row) =>
        truthOf.get(night.table.file[row]!)!.events.some((event) => eventsOf[cause]?.includes(event)),
      );
      expect(carrying.length / rows.length, `${cause} ${startUtc}`).toBeGreaterThanOrEqual(0.9);
    }
  });

  it("summary and report say it in words: what, when, and what to do next time", () => {
    const summary = nightSummary(night).join("\n");
    const page = reportHtml(night).replace(/<[^>]+>/g, "");
    const spacingMs = 6 * 60_000; // between subs
    for (const cause of ["cloud", "low-altitude", "focus", "dew", "warm-sensor", "twilight"] as const) {
      const { short } = causeRegistry[cause];
      const name = short[0]!.toUpperCase() + short.slice(1);
      const spans = [
        ...summary.matchAll(
          new RegExp(`${name} \\((\\d+) October 2025, (\\d\\d:\\d\\d) to (\\d\\d:\\d\\d) UTC\\)`, "g"),
        ),
      ].map(([text, day, from, to]) => {
        expect(page).toContain(text);
        const fromMs = Date.parse(`2025-10-${day}T${from}:00Z`);
        const toMs = Date.parse(`2025-10-${day}T${to}:00Z`);
        return [fromMs, toMs < fromMs ? toMs + 86_400_000 : toMs] as const;
      });
      const subs = truth.filter((one) => one.cause === cause && one.verdict === "drop");
      const within = subs.filter(({ startMs }) =>
        spans.some(([from, to]) => startMs >= from - spacingMs && startMs <= to + spacingMs),
      );
      expect(subs.length, cause).toBeGreaterThan(0);
      // What is small stands in one line with other small things.
      expect(within.length / subs.length, cause).toBeGreaterThanOrEqual(cause === "low-altitude" ? 0.3 : 0.9);
    }
    for (const small of [/bad file/i, /tracking/, /wind/]) expect(summary).toMatch(small);
    expect(night.attention.filter((line) => line.startsWith("Cannot read"))).toHaveLength(2);
    const next = summary.slice(summary.indexOf("Next time:"));
    for (const advice of [/refocus/i, /dew/i, /sensor's cooling/i, /stay above \d+/i]) expect(next).toMatch(advice);
  });

  it("one night cannot tell the filter from the altitude, both together can", async () => {
    const ratesOf = async (...nights: string[]) => {
      const { explanation } = await triageNight(
        nights.map((name) => join(sample, "nights", name)),
        { jobs: 2 },
      );
      return explanation.drivers.filterRates;
    };
    const [one, both] = [await ratesOf("2025-10-18"), await ratesOf("2025-10-18", "2025-10-20")];
    expect(one.map(({ filter }) => filter).sort()).toEqual(["Ha", "L"]);
    for (const { oddsInterval } of one) expect(oddsInterval.low).toBeNaN();
    for (const { oddsInterval } of both) expect(oddsInterval.low).toBeGreaterThan(0);
    // In truth the filter by itself spoils nothing: no event of the scenario has to do with it.
    for (const { oddsInterval } of both) {
      expect(oddsInterval.low).toBeLessThan(1);
      expect(oddsInterval.high).toBeGreaterThan(1);
    }
  }, 60_000);
});
