// The report page in a real browser: it loads without a console message, draws, sorts, filters and shows all rows.
import { spawnSync } from "node:child_process";
import { existsSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { reportHtml } from "../../src/show/report.js";
import { hostileNames, hostileNight } from "./report-hostile.js";
import { inventedNight } from "./report-night.js";

const chromium = "/usr/bin/chromium";
const hasChromium = existsSync(chromium);
if (!hasChromium && process.env.CI) throw new Error(`${chromium} is missing: .ci/run must install it`);
const folder = mkdtempSync(join(tmpdir(), "nightyield-page-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Loads a page, runs a probe in it and gives what the probe returned and what the browser logged. */
function load(html: string, probe: string): { result: Record<string, unknown>; log: string[] } {
  const path = join(folder, "page.html");
  const script = `setTimeout(() => { const r = (() => { ${probe} })();
    const out = document.createElement("pre"); out.id = "probe"; out.textContent = encodeURIComponent(JSON.stringify(r)); document.body.replaceChildren(out); }, 1500);`;
  writeFileSync(path, `${html}<script>${script}</script>`);
  const flags = "--headless --no-sandbox --disable-gpu --disable-background-networking --disable-sync --no-first-run";
  const args = [`--user-data-dir=${mkdtempSync(join(folder, "profile-"))}`, "--virtual-time-budget=6000", "--dump-dom"];
  const log = ["--enable-logging=stderr", "--v=0", "--window-size=1280,1000", pathToFileURL(path).href];
  const ended = spawnSync(chromium, [...flags.split(" "), ...args, ...log], {
    encoding: "utf8",
    maxBuffer: 100_000_000,
    timeout: 50_000,
  });
  const found = /<pre id="probe">([^<]*)<\/pre>/.exec(ended.stdout);
  if (found === null) throw new Error(`the probe did not report; the browser said: ${ended.stderr.slice(-2000)}`);
  return {
    result: JSON.parse(decodeURIComponent(found[1]!)) as Record<string, unknown>,
    log: ended.stderr.split("\n").filter((line) => line.includes("CONSOLE")),
  };
}

describe.skipIf(!hasChromium)(
  `report.html in a browser${hasChromium ? "" : ` (skipped: there is no ${chromium})`}`,
  () => {
    it("would be caught: a script error and a request to the network show in the log", () => {
      const policy = /<meta http-equiv[^>]*>/.exec(reportHtml(inventedNight(20)))![0];
      const page = `<!doctype html>${policy}<script>nonsense()</script><img src="https://example.invalid/x.png">`;
      const { log } = load(page, "return {}");
      expect(log.some((line) => line.includes("nonsense"))).toBe(true);
      expect(log.some((line) => line.includes("Content Security Policy"))).toBe(true);
    });

    it("draws every sub, sorts, filters and shows the rest on demand", () => {
      const night = inventedNight(300);
      const { table } = night;
      const { result, log } = load(
        reportHtml(night),
        `const rows = () => document.querySelectorAll("#subs-table tbody tr").length;
       const marks = (id) => document.querySelectorAll("#" + id + " .scatterlayer path.point").length;
       const head = (name) => [...document.querySelectorAll("#subs-table th")].findIndex((th) => th.textContent === name);
       const click = (name) => document.querySelectorAll("#subs-table th")[head(name)].firstChild.click();
       const first = (name) => document.querySelector("#subs-table tbody tr").children[head(name)].textContent;
       const r = { timeline: marks("timeline"), quantities: marks("quantities"), rows: rows() };
       click("Stars"); r.fewest = first("Stars"); click("Stars"); r.most = first("Stars");
       document.querySelector('.choices button[value="drop"]').click(); r.dropped = rows();
       document.querySelector('.choices button[value=""]').click(); document.getElementById("subs-all").click(); r.all = rows();
       r.sorted = document.querySelector('th[aria-sort="descending"]').textContent;
       r.wide = document.documentElement.scrollWidth <= innerWidth; return r;`,
      );
      expect(log).toEqual([]);
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
        wide: true,
      });
    });

    it("shows hostile names as they are and runs none of them", () => {
      const { result, log } = load(
        reportHtml(hostileNight()),
        `const cell = (row) => document.querySelectorAll("#subs-table tbody tr")[row].firstChild.textContent;
       return { hit: window.hit ?? 0, images: document.images.length, title: document.title, names: [0, 1, 2, 3].map(cell),
         lanes: document.querySelectorAll("#timeline .annotation-text").length > 0 };`,
      );
      expect(log).toEqual([]);
      expect(result).toEqual({
        hit: 0,
        images: 0,
        title: "</title><script>window.hit=3</script> \u2013 nightyield",
        names: hostileNames.map((name, row) => `${row} ${name}`),
        lanes: true,
      });
    });

    it("is drawn with 10,000 subs, thinned", () => {
      const started = performance.now();
      const { result, log } = load(
        reportHtml(inventedNight(10_000, { hours: 10 })),
        `return { marks: document.querySelectorAll("#timeline .scatterlayer path.point").length, rows: document.querySelectorAll("#subs-table tbody tr").length };`,
      );
      console.log(`10,000 subs made, loaded and drawn in ${((performance.now() - started) / 1000).toFixed(1)} s`);
      expect(log).toEqual([]);
      expect(result.marks).toBeGreaterThan(500);
      expect(result.marks).toBeLessThanOrEqual(1500);
      expect(result.rows).toBe(200);
    });
  },
);
