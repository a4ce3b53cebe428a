// The report can be read by everyone: an audit of our own in the manner of the usual accessibility checks, run inside
// Chromium in light and dark, at desktop and phone width. Limits: WCAG 2.2 success criteria, named beside each check.
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { contactSheet } from "../../src/show/contact-sheet.js";
import { reportHtml } from "../../src/show/report.js";
import { Browser, hasChromium, type Page, withoutChromium } from "./chromium.js";
import { auditScript } from "./report-audit.js";
import { inventedNight } from "./report-night.js";

const folder = mkdtempSync(join(tmpdir(), "nightyield-access-"));
const write = (name: string, html: string): string => {
  writeFileSync(join(folder, name), html);
  return pathToFileURL(join(folder, name)).href;
};

/** Small invented frames, so that the page has pictures. */
const pictures = () => {
  const values = Float32Array.from({ length: 6000 }, (_, i) => 500 + ((i * 7919) % 97) + (i % 613 === 0 ? 4000 : 0));
  const sheet = contactSheet(
    (["keep", "drop"] as const).map((verdict) => ({
      frame: { width: 100, height: 60, values },
      file: `sub_${verdict}.fits`,
      verdict,
      symptoms: [],
    })),
  );
  const parts = [0, 1].map((i) => ({
    png: sheet.pngs[i]!,
    width: 100,
    height: 60,
    file: `sub_${i}.fits`,
    verdict: i === 0 ? ("keep" as const) : ("drop" as const),
    lines: ["22 stars, 50 expected"],
    alt: `Picture of sub_${i}.fits`,
  }));
  return { pictures: parts, note: "Two subs." };
};

/** What has the focus, and whether a line of 2 px or more around it says so. */
const focused = `(() => { const e = document.activeElement, s = getComputedStyle(e); return [e.tagName + " " + (e.id || e.textContent.slice(0, 30)) + " " + [...document.querySelectorAll("*")].indexOf(e), s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2]; })()`;

interface Audit {
  readonly findings: string[];
  readonly counts: Record<string, number>;
  readonly leastContrast: number;
  readonly leastTargetPx: number;
}

describe.skipIf(!hasChromium)(`the report for everyone${withoutChromium}`, () => {
  let browser: Browser;
  let address = "";
  beforeAll(() => {
    browser = new Browser();
    address = write("page.html", reportHtml(inventedNight(300), { pictures: pictures() }));
  });
  afterAll(async () => {
    await browser.close();
    rmSync(folder, { recursive: true, force: true });
  });

  const drawAll = async (page: Page) => {
    await page.evaluate(`(async () => {
      for (const chart of document.querySelectorAll(".chart")) {
        chart.scrollIntoView();
        for (let i = 0; i < 100 && !chart.querySelector(".main-svg"); i++) await new Promise((done) => setTimeout(done, 50));
      }
      for (const details of document.querySelectorAll("details")) details.open = true;
      scrollTo(0, 0);
    })()`);
  };

  it("the audit finds what is wrong in a page that is wrong", async () => {
    const wrong = `<!doctype html><html><head><title></title></head><body><h1>a</h1><h3>b</h3><div id="x"></div><div id="x"></div>
      <img src="data:,"><button style="width:10px;height:10px;padding:0"></button><p style="color:#999">faint</p>
      <table><tr><td>1</td></tr></table><div onclick="0" role="button">no way there</div><p role="nonsense">role</p><style>button{outline:none!important}</style></body></html>`;
    const page = await browser.open(write("wrong.html", wrong));
    const { findings } = await page.evaluate<Audit>(auditScript);
    for (const rule of [
      "lang",
      "title",
      "main",
      "heading-order",
      "duplicate-id",
      "image-alt",
      "name",
      "contrast",
      "target-size",
      "table-caption",
      "table-headers",
      "keyboard",
    ])
      expect(
        findings.some((finding) => finding.startsWith(rule)),
        rule,
      ).toBe(true);
  });

  for (const look of [
    { width: 1280, scheme: "light" },
    { width: 1280, scheme: "dark" },
    { width: 500, scheme: "light", isTouch: true },
    { width: 500, scheme: "dark", isTouch: true },
  ] as const)
    it(`has no findings: ${look.width} px, ${look.scheme}`, async () => {
      const page = await browser.open(address, look);
      await drawAll(page);
      const audit = await page.evaluate<Audit>(auditScript);
      console.log(
        `${look.width} px, ${look.scheme}: ${JSON.stringify(audit.counts)}, least contrast ${audit.leastContrast.toFixed(2)}, smallest target ${audit.leastTargetPx.toFixed(0)} px`,
      );
      expect(audit.findings).toEqual([]);
      expect(audit.counts.charts).toBeGreaterThanOrEqual(6);
      expect(audit.counts.pictures).toBe(2);
      expect(page.log).toEqual([]);
      expect(page.asked.filter((url) => url !== address && !url.startsWith("data:"))).toEqual([]);
      expect(await page.evaluate("document.documentElement.scrollWidth <= innerWidth")).toBe(true);
    });

  it("is walked through by the Tab key, and shows where one is (WCAG 2.1.1, 2.4.7)", async () => {
    const page = await browser.open(address);
    const wanted = await page.evaluate<number>(
      `[...document.querySelectorAll("button, summary, [tabindex='0']")].filter((e) => e.checkVisibility()).length`,
    );
    const reached: string[] = [];
    for (let i = 0; i < wanted; i++) {
      await page.press("Tab");
      const [name, outlined] = await page.evaluate<[string, boolean]>(focused);
      expect(outlined, name).toBe(true);
      reached.push(name);
    }
    expect(new Set(reached).size).toBe(wanted);
    await page.evaluate(`document.querySelector("#subs-table th button").focus()`);
    await page.press("Enter");
    expect(await page.evaluate(`document.querySelector("#subs-table th").getAttribute("aria-sort")`)).toBe("ascending");
  });
});
