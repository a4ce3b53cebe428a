// The report page in a real browser: it loads without a console message or a request, draws what comes near, sorts,
// filters, shows all rows, prints, and stays quick with 10,000 subs.
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { encodePng } from "../../src/show/png.js";
import { reportHtml } from "../../src/show/report.js";
import { sized } from "../house/size.js";
import { Browser, hasChromium, type Page, type PageLook, withoutChromium } from "./chromium.js";
import { hostileNames, hostileNight } from "./report-hostile.js";
import { inventedNight } from "./report-night.js";

const folder = mkdtempSync(join(tmpdir(), "nightyield-page-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
let pages = 0;

describe.skipIf(!hasChromium)(`report.html in a browser${withoutChromium}`, () => {
  let browser: Browser;
  beforeAll(() => {
    browser = new Browser();
  });
  afterAll(() => browser.close());
  const open = (html: string, look: PageLook = {}): Promise<Page> => {
    const path = join(folder, `page${++pages}.html`);
    writeFileSync(path, html);
    return browser.open(pathToFileURL(path).href, look);
  };
  /** Scrolls to a chart and waits until it is drawn. */
  const drawn = (page: Page, id: string) =>
    page.evaluate<boolean>(`(async () => {
      const chart = document.getElementById("${id}");
      chart.scrollIntoView();
      for (let i = 0; i < 200 && !chart.querySelector(".main-svg"); i++) await new Promise((done) => setTimeout(done, 25));
      return chart.querySelector(".main-svg") !== null;
    })()`);

  it("would be caught: a script error and a request to the network show in the log", async () => {
    const policy = /<meta http-equiv[^>]*>/.exec(reportHtml(inventedNight(20)))![0];
    const { log } = await open(
      `<!doctype html>${policy}<script>nonsense()</script><img src="https://example.invalid/x.png">`,
    );
    expect(log.some((line) => line.includes("nonsense"))).toBe(true);
    expect(log.some((line) => line.includes("Content Security Policy"))).toBe(true);
  });

  it("draws every sub, sorts, filters and shows the rest on demand", async () => {
    const night = inventedNight(300);
    const { table } = night;
    const page = await open(reportHtml(night));
    // The story is there before any chart.
    expect(await page.evaluate("document.querySelector('.lead').textContent.length > 20")).toBe(true);
    for (const id of ["timeline", "quantities", "effects", "rates", "cuts-1", "cuts-2", "calendar-1"])
      expect(await drawn(page, id), id).toBe(true);
    const result = await page.evaluate(`(() => {
      const rows = () => document.querySelectorAll("#subs-table tbody tr").length;
      const marks = (id) => document.querySelectorAll("#" + id + " .scatterlayer path.point").length;
      const head = (name) => [...document.querySelectorAll("#subs-table th")].findIndex((th) => th.textContent === name);
      const click = (name) => document.querySelectorAll("#subs-table th")[head(name)].firstChild.click();
      const first = (name) => document.querySelector("#subs-table tbody tr").children[head(name)].textContent;
      const r = { timeline: marks("timeline"), quantities: marks("quantities"), rows: rows() };
      click("Stars"); r.fewest = first("Stars"); click("Stars"); r.most = first("Stars");
      document.querySelector('.choices button[value="drop"]').click(); r.dropped = rows();
      document.querySelector('.choices button[value=""]').click(); document.getElementById("subs-all").click(); r.all = rows();
      r.sorted = document.querySelector('th[aria-sort="descending"]').textContent; return r;
    })()`);
    // Looked at closely, both charts along the clock show the same stretch, with ticks of its own; and back again.
    const looks = await page.evaluate<[string, string, string, string, string]>(`(async () => {
      const axis = (id) => document.getElementById(id)._fullLayout.xaxis, wait = () => new Promise((done) => setTimeout(done, 150));
      const [from, to] = axis("timeline").range, mode = () => axis("timeline").tickmode + " " + axis("quantities").tickmode, start = () => String(axis("quantities").range[0]).slice(0, 16);
      const before = start();
      await Plotly.relayout("timeline", { "xaxis.range[0]": "2026-08-19 20:00:00", "xaxis.range[1]": "2026-08-19 21:00:00" }); await wait();
      const near = start(), nearMode = mode();
      await Plotly.relayout("quantities", { "xaxis.range[0]": from, "xaxis.range[1]": to }); await wait();
      return [near, nearMode, start() === before ? "as before" : start(), mode(), String(document.querySelectorAll("#timeline .xtick").length > 2)];
    })()`);
    expect(looks).toEqual(["2026-08-19 20:00", "auto auto", "as before", "array array", "true"]);
    const stars = Array.from(table.starCount).filter(Number.isFinite);
    expect(result).toEqual({
      timeline: 300,
      quantities: 900,
      rows: 200,
      fewest: String(Math.min(...stars)),
      most: String(Math.max(...stars)),
      dropped: table.verdict.filter((verdict) => verdict === "drop").length,
      all: 303,
      sorted: "Stars",
    });
    expect(page.log).toEqual([]);
    expect(page.asked.filter((url) => !/^(?:file|data):/.test(url))).toEqual([]);
  });

  it("names no tick aslant or over another on a phone, and charts keep to its width", async () => {
    const page = await open(reportHtml(inventedNight(300)), { width: 500, isTouch: true });
    for (const id of ["timeline", "quantities", "effects", "rates", "cuts-1", "calendar-1"]) {
      expect(await drawn(page, id), id).toBe(true);
      const ticks = await page.evaluate<{ left: number; right: number; turned: boolean }[]>(
        `[...document.querySelectorAll("#${id} .xaxislayer-above .xtick text")].map((t) => { const b = t.getBoundingClientRect(); return { left: b.left, right: b.right, turned: /rotate\\((?!0)/.test(t.getAttribute("transform") || "") }; }).filter(({ left, right }) => right > left).sort((a, b) => a.left - b.left)`,
      );
      expect(ticks.length, id).toBeGreaterThan(1);
      expect(
        ticks.some(({ turned }) => turned),
        id,
      ).toBe(false);
      for (const [i, { left }] of ticks.entries())
        expect(i === 0 || left >= ticks[i - 1]!.right, `${id} ${i}`).toBe(true);
    }
    expect(await page.evaluate("document.documentElement.scrollWidth <= innerWidth")).toBe(true);
  });

  it("shows hostile names as they are and runs none of them", async () => {
    const [first] = hostileNames;
    const picture = {
      png: encodePng({ width: 8, height: 8, channels: 1, samples: new Uint8Array(64) }),
      width: 8,
      height: 8,
      file: hostileNames[1],
      verdict: "drop" as const,
      lines: hostileNames,
      alt: hostileNames[1],
    };
    const page = await open(reportHtml(hostileNight(), { pictures: { pictures: [picture], note: first } }));
    expect(await drawn(page, "timeline")).toBe(true);
    const result = await page.evaluate(`(() => {
      const cell = (row) => document.querySelectorAll("#subs-table tbody tr")[row].firstChild.textContent;
      return { hit: window.hit ?? 0, images: [...document.images].map(({ alt }) => alt), title: document.title, names: [0, 1, 2, 3].map(cell),
        lanes: document.querySelectorAll("#timeline .annotation-text").length > 0 };
    })()`);
    expect(page.log).toEqual([]);
    expect(result).toEqual({
      hit: 0,
      images: [hostileNames[1]],
      title: "</title><script>window.hit=3</script> \u2013 nightyield",
      names: hostileNames.map((name, row) => `${row} ${name}`),
      lanes: true,
    });
  });

  it("prints every chart, also those that nobody scrolled to", async () => {
    const page = await open(reportHtml(inventedNight(60)));
    const { data } = (await page.send("Page.printToPDF", { printBackground: true })) as { data: string };
    const pdf = Buffer.from(data, "base64");
    expect(pdf.subarray(0, 5).toString("latin1")).toBe("%PDF-");
    const undrawn = await page.evaluate(
      `[...document.querySelectorAll(".chart")].filter((chart) => !chart.querySelector(".main-svg")).map(({ id }) => id)`,
    );
    expect(undrawn).toEqual([]);
    expect(page.log).toEqual([]);
  });

  const many = sized(3000, 10_000);
  it(`opens and scrolls smoothly with ${many} subs`, async () => {
    const html = reportHtml(inventedNight(many, { hours: 10 }));
    const page = await open(html);
    const result = await page.evaluate<Record<string, number>>(`(async () => {
      const long = [];
      new PerformanceObserver((list) => { for (const { duration } of list.getEntries()) long.push(duration); }).observe({ type: "longtask", buffered: true });
      const first = performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? -1;
      const loaded = performance.getEntriesByType("navigation")[0].domInteractive;
      await new Promise((done) => setTimeout(done, 2500));
      const opening = long.splice(0);
      const frames = []; let last = performance.now();
      while (scrollY + innerHeight < document.documentElement.scrollHeight - 2 && frames.length < 400) {
        scrollBy(0, 120);
        await new Promise(requestAnimationFrame);
        const now = performance.now(); frames.push(now - last); last = now;
      }
      await new Promise((done) => setTimeout(done, 300));
      frames.sort((a, b) => a - b);
      document.getElementById("timeline").scrollIntoView();
      return { first, loaded, openingLong: Math.max(0, ...opening), openingSum: opening.reduce((a, b) => a + b, 0), scrolledLong: Math.max(0, ...long), scrolledLongCount: long.length,
        frames: frames.length, median: frames[frames.length >> 1], worst: frames.at(-1),
        marks: document.querySelectorAll("#timeline .scatterlayer path.point").length, rows: document.querySelectorAll("#subs-table tbody tr").length,
        charts: document.querySelectorAll(".chart").length, drawnCharts: [...document.querySelectorAll(".chart")].filter((c) => c.querySelector(".main-svg")).length };
    })()`);
    const ms = (value: number | undefined) => `${(value ?? Number.NaN).toFixed(0)} ms`;
    console.log(
      `${many} subs, ${(html.length / 1e6).toFixed(1)} MB: first painted after ${ms(result.first)}, usable after ${ms(result.loaded)}; longest task while opening ${ms(result.openingLong)} (${ms(result.openingSum)} in all); scrolled through in ${result.frames} steps, ${ms(result.median)} each (longest ${ms(result.worst)}), ${result.scrolledLongCount} tasks above 50 ms, longest ${ms(result.scrolledLong)}`,
    );
    expect(page.log).toEqual([]);
    expect(result.marks).toBeGreaterThan(500);
    expect(result.marks).toBeLessThanOrEqual(1500);
    expect(result.rows).toBe(200);
    expect(result.drawnCharts).toBe(result.charts);
  });
});
