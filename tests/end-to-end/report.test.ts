// The report page as text: nothing from outside, nothing that a file name could smuggle in, no place that finds the garden.
import { describe, expect, it } from "vitest";
import type { NightResult } from "../../src/show/night-result.js";
import { nightSummary } from "../../src/show/night-summary.js";
import { reportHtml } from "../../src/show/report.js";
import { nightMarkdown } from "../../src/show/report-markdown.js";
import { summaryJson } from "../../src/show/summary-json.js";
import { withColumns } from "../../src/terms/frame-table.js";
import { hostileNight } from "./report-hostile.js";
import { inventedNight, inventedSite } from "./report-night.js";

const night = inventedNight(300);
const page = reportHtml(night);
/** The page without the chart library, whose source mentions addresses that it does not ask for here. */
const ours = (html: string) => html.replace(/<script[^>]* id="chart-library">[\s\S]*?<\/script>/, "");
const megabytes = (html: string) => Buffer.byteLength(html) / 1e6;
const scriptsOf = (html: string) => [...html.matchAll(/<script[^>]*>[\s\S]*?<\/script>/g)].map(([script]) => script);

describe("report.html", () => {
  it("asks for nothing outside itself, and tells the browser so", () => {
    expect(ours(page).length).toBeLessThan(page.length - 4_000_000);
    expect(ours(page)).not.toMatch(/https?:/);
    const markup = page.replace(/<script[^>]*>[\s\S]*?<\/script>/g, "");
    const references = [...markup.matchAll(/\s(?:src|href|action|data)\s*=\s*["']?([^"'\s>]*)/g)].map((m) => m[1]);
    expect(references).toEqual(["data:,"]);
    expect(ours(page)).not.toMatch(/@import|url\(/);
    expect(page).toContain(`content="default-src 'none'; script-src 'unsafe-inline'`);
  });

  it("stays below 8 MB, with 10,000 subs and all pictures below 15 MB", () => {
    const many = inventedNight(10_000, { hours: 10 });
    const started = performance.now();
    const large = megabytes(reportHtml(many));
    const tookS = (performance.now() - started) / 1000;
    console.log(
      `page of 300 subs: ${megabytes(page).toFixed(2)} MB; of 10,000 subs: ${large.toFixed(2)} MB, written in ${tookS.toFixed(1)} s`,
    );
    expect(megabytes(page)).toBeLessThan(8);
    // Pictures take at most 1.5 MB, a third more as text.
    expect(large + 2).toBeLessThan(15);
  });

  it("cannot be broken by names in the files", () => {
    const html = reportHtml(hostileNight());
    expect(scriptsOf(html).length).toBe(scriptsOf(page).length);
    expect(html).not.toMatch(/<script>window\.hit|<img|<\/title><script|<b>&amp; \$|<!--<script/);
    for (const script of scriptsOf(html)) expect(script).not.toMatch(/[\u2028\u2029]/);
    const data = scriptsOf(html).filter((script) => script.startsWith(`<script type="application/json"`));
    expect(data.length).toBe(2);
    for (const script of data) JSON.parse(script.replace(/^<script[^>]*>|<\/script>$/g, ""));
  });

  it("shows the observer's place to a tenth of a degree and nowhere closer", () => {
    expect(page).toContain("near 47.8\u00b0 N, 15.4\u00b0 E");
    // In the page no number at all may look like the coordinates; the other files hold many digits of other things.
    expect(ours(page)).not.toMatch(/(?<![\d.])(?:47\.8|15\.4)\d/);
    for (const text of [page, nightMarkdown(night), nightSummary(night).join("\n")])
      for (const deg of [inventedSite.latitudeDeg, inventedSite.longitudeDeg])
        expect(text).not.toContain(deg.toFixed(4));
    // Nor may altitudes and edges of twilight be so exact that the place can be computed from them.
    const figures = JSON.parse(/id="figures-data">([^<]*)</.exec(page)![1]!) as {
      timeline: { data: { name?: string; y: (number | null)[] }[]; layout: { shapes: { x0: number; x1: number }[] } };
    };
    const altitudes = figures.timeline.data.flatMap(({ y }) => y).filter((y) => y !== null);
    expect(altitudes.length).toBeGreaterThan(600);
    for (const y of altitudes) expect(String(Math.abs(y))).toMatch(/^(?:\d{2}(?:\.\d)?|\d(?:\.\d{1,2})?)$/);
    const inner = figures.timeline.layout.shapes.slice(1).map(({ x0 }) => x0 % 60_000);
    expect(inner.length).toBeGreaterThanOrEqual(4);
    expect(inner.every((rest) => rest === 0)).toBe(true);
    const south: NightResult = { ...night, site: { latitudeDeg: -33.46, longitudeDeg: 289.34 } };
    expect(reportHtml(south)).toContain("near 33.5\u00b0 S, 70.7\u00b0 W");
  });

  it("tells what happened: verdicts, left-out frames, the unreadable file and what to do", () => {
    const count = (verdict: string) => night.table.verdict.filter((v) => v === verdict).length;
    const worth = count("keep") + count("borderline");
    expect(count("drop")).toBeGreaterThan(10);
    expect(page).toContain(`${worth} of 300 subs are worth stacking`);
    expect(page).toContain(`${count("drop")} drop`);
    expect(page).toContain("2 dark, flat or bias frames recognised and left out of grading.");
    expect(page).toMatch(/ngc7000_0207b\.fits<\/b>, at byte 5\u202f760\u202f000: .*Copy the file from the card again/);
    expect(page.split("Copy the file from the card again").length - 1).toBeLessThanOrEqual(3); // list, row, row as data
    expect(nightSummary(night).join("\n")).toContain(`${worth} of 300 subs are worth stacking`);
    expect(nightMarkdown(night)).toContain(`**${worth} of 300 subs are worth stacking`);
  });

  it("gives every chart as a table too, whose counts add up to all subs", () => {
    const tables = [...page.matchAll(/<details><summary>The same as a table<\/summary>([\s\S]*?)<\/details>/g)];
    expect(tables.length).toBe((page.match(/class="chart"/g) ?? []).length);
    expect(tables.length).toBeGreaterThanOrEqual(7);
    // The first table of the first chart; the second holds its episodes.
    const [first, episodes] = tables[0]![1]!.split("</table>");
    expect(episodes).toContain("What most likely spoiled subs");
    const rows = [...first!.matchAll(/<tr>(<td[\s\S]*?)<\/tr>/g)].map(([, row]) =>
      [...row!.matchAll(/<td[^>]*>([^<]*)/g)].map((cell) => cell[1]!),
    );
    expect(rows.length).toBeGreaterThan(10);
    expect(rows.flatMap((cells) => cells.slice(-4).map(Number)).reduce((a, b) => a + b)).toBe(300);
  });

  it("works without site, times and temperatures, and without any light frame", () => {
    const nothing = new Float64Array(night.table.rows).fill(Number.NaN);
    const blank = night.table.file.map(() => "");
    const columns = { startUtc: blank, altitudeDeg: nothing, sunAltitudeDeg: nothing, moonAltitudeDeg: nothing };
    const bare = reportHtml({
      ...night,
      site: null,
      table: withColumns(night.table, { ...columns, sensorTempC: nothing }),
    });
    expect(bare).toContain("number of the sub");
    expect(ours(bare)).not.toMatch(/NaN|undefined|Invalid/);
    expect(ours(page)).not.toMatch(/NaN|undefined|Invalid/);
    const kinds = night.table.file.map(() => "dark");
    const dark = reportHtml({ ...night, groups: [], table: withColumns(night.table, { kind: kinds }) });
    expect(dark).toContain("There are no light frames here");
    expect(dark).not.toContain('id="chart-library"');
  });
});

it("summary.json is JSON without NaN and names every file", () => {
  const summary = JSON.parse(summaryJson(night)) as { subs: { file: string; verdict: string }[]; headline: string };
  expect(summary.subs.map(({ file }) => file)).toEqual([...night.table.file]);
  expect(summary.subs.map(({ verdict }) => verdict)).toEqual([...night.table.verdict]);
  expect(summary.headline).toContain("of 300 subs");
});
