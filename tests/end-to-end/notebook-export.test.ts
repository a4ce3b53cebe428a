// A notebook's page in a real browser, with cells that try to run, load and break out; and the same as Markdown.
import { spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { colouredCode } from "../../src/notebook/coloured-code.js";
import { exportHtml } from "../../src/notebook/export-html.js";
import { exportMarkdown } from "../../src/notebook/export-markdown.js";
import { markdownHtml } from "../../src/notebook/markdown.js";
import type { CodeCell, Notebook, Output } from "../../src/notebook/notebook-shape.js";
import { plainText } from "../../src/notebook/plain-text.js";
import { sanitiseHtml } from "../../src/notebook/sanitise-html.js";
import { writeNotebook } from "../../src/notebook/write-notebook.js";
import { code, notebookOf } from "./notebook-kernels.js";

const chromium = "/usr/bin/chromium";
const hasChromium = existsSync(chromium);
if (!hasChromium && process.env.CI) throw new Error(`${chromium} is missing: .ci/run must install it`);
const main = fileURLToPath(new URL("../../dist/cli/main.js", import.meta.url));
const folder = mkdtempSync(join(tmpdir(), "nightyield-export-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const words = (id: string, source: string): Notebook["cells"][number] => ({
  cell_type: "markdown",
  id,
  metadata: {},
  source,
});
const shown = (data: Record<string, string>): Output => ({ output_type: "display_data", metadata: {}, data });
const withOutputs = (cell: CodeCell, ...outputs: Output[]): CodeCell => ({ ...cell, outputs });
const dot = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==";

const plain = notebookOf(
  words(
    "a",
    "# A **night**\n\nOne `code` and a [link](https://example.org).\n\n| filter | subs |\n|---|--:|\n| Ha | 12 |",
  ),
  withOutputs(
    code("b", "const limit = 3; // words\nlimit"),
    { output_type: "stream", name: "stdout", text: "10 %\r100 %\n\u001b[32mgreen\u001b[0m\n" },
    { output_type: "execute_result", execution_count: 1, metadata: {}, data: { "text/plain": "3" } },
    {
      output_type: "display_data",
      metadata: {},
      data: {
        "application/vnd.plotly.v1+json": {
          data: [{ type: "scatter", mode: "markers", y: [1, 2, 4] }],
          layout: { title: { text: "Stars" } },
        },
        "text/html": "<b>not this</b>",
        "text/plain": "three stars",
      },
    },
    shown({ "image/png": dot, "text/plain": "a dot" }),
    shown({ "text/html": "<table><thead><tr><th>FWHM</th></tr></thead><tbody><tr><td>3.1</td></tr></table>" }),
    {
      output_type: "error",
      ename: "RangeError",
      evalue: "boom",
      traceback: ["\u001b[31mRangeError: boom\u001b[0m", "at 1"],
    },
  ),
);

const attacks = [
  "<script>hit(1)</script>",
  '<img src=x onerror="hit(2)">',
  "[x](javascript:hit(3))",
  '![x](x" onerror="hit(4))',
  '<svg onload="hit(5)"><script>hit(5)</script></svg>',
  "</main></body><script>hit(6)</script>",
  '<a href="java&#115;cript:hit(7)">seven</a>',
  '<iframe srcdoc="<script>parent.hit(8)</script>"></iframe>',
  '<img src="https://example.invalid/9.png"><link rel=stylesheet href=https://example.invalid/9.css>',
  "<style>@import 'https://example.invalid/10.css'; body { display: none }</style>",
  '<div style="background: url(https://example.invalid/11.png)">eleven</div>',
  '<form action="https://example.invalid"><input></form><meta http-equiv=refresh content="0;url=https://example.invalid">',
  "<scr<script>ipt>hit(13)</script>",
  "<table><td></table></table></div></div><b onclick=hit(14) <script>hit(14)</script>",
];
const hostile = notebookOf(
  ...attacks.flatMap((attack, i) => [
    words(`w${i}`, `# ${attack}\n\n- ${attack}\n\n| a |\n|---|\n| ${attack} |\n\n\`${attack}\`\n\n${attack}`),
    withOutputs(
      code(`c${i}`, attack),
      shown({ "text/html": attack, "text/plain": attack }),
      shown({ "text/markdown": attack }),
      shown({ "image/svg+xml": `<svg xmlns="http://www.w3.org/2000/svg" onload="hit()">${attack}</svg>` }),
      shown({ "image/png": `x" onerror="hit(15)` }),
      { output_type: "stream", name: "stdout", text: attack },
      { output_type: "error", ename: attack, evalue: attack, traceback: [attack] },
      {
        output_type: "display_data",
        metadata: {},
        data: { "application/vnd.plotly.v1+json": { data: [{ y: [1, 2] }], layout: { title: { text: attack } } } },
      },
    ),
  ]),
);

/** Loads a page with a probe that the page's own policy lets run, beside its own scripts. */
function load(html: string, probe: string, ...flags: string[]): { result: Record<string, unknown>; log: string[] } {
  const path = join(folder, "page.html");
  const first = "window.hits = []; window.hit = (n) => hits.push(n);";
  const last = `setTimeout(() => { const r = (() => { ${probe} })();
    const out = document.createElement("pre"); out.id = "probe"; out.textContent = encodeURIComponent(JSON.stringify(r)); document.body.replaceChildren(out); }, 1500);`;
  const hash = (script: string) => `'sha256-${createHash("sha256").update(script).digest("base64")}'`;
  const opened = html
    .replace(/script-src (?:&#39;none&#39;)?/, () => `script-src ${hash(first)} ${hash(last)} `)
    .replace("<title>", () => `<script>${first}</script><title>`);
  writeFileSync(
    path,
    opened
      .replace("</body>\n</html>", () => "</body></html>")
      .replace(/<\/body><\/html>\s*$/, () => `<script>${last}</script></body></html>`),
  );
  const fixed = "--headless --no-sandbox --disable-gpu --disable-background-networking --disable-sync --no-first-run";
  const profile = `--user-data-dir=${mkdtempSync(join(folder, "profile-"))}`;
  const args = [
    ...fixed.split(" "),
    profile,
    "--virtual-time-budget=6000",
    "--enable-logging=stderr",
    "--v=0",
    ...flags,
  ];
  const ended = spawnSync(chromium, [...args, "--dump-dom", pathToFileURL(path).href], {
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

describe.skipIf(!hasChromium)(`a notebook's page${hasChromium ? "" : ` (skipped: there is no ${chromium})`}`, () => {
  const look = `const q = (s) => document.querySelectorAll(s); return { title: document.title, points: q(".scatterlayer path.point").length,
    said: [...q(".said")].map((e) => e.textContent), cells: [...q("td")].map((e) => e.textContent), keywords: [...q(".k")].map((e) => e.textContent),
    dot: [...document.images].map((i) => [i.alt, i.naturalWidth]), wide: document.documentElement.scrollWidth <= innerWidth };`;

  it.each([
    ["on a desk", "--window-size=1280,1000"],
    ["on a phone", "--window-size=500,900"],
  ])("shows code, words, numbers, charts and pictures %s, without a console message", (_, size) => {
    const { result, log } = load(exportHtml(plain, { title: "n", version: "0" }), look, size);
    expect(log).toEqual([]);
    expect(result).toEqual({
      title: "A night \u2013 nightyield",
      points: 3,
      said: ["100 %\ngreen", "3", "RangeError: boom\nat 1"],
      cells: ["Ha", "12", "3.1"],
      keywords: ["const"],
      dot: [["a dot", 1]],
      wide: true,
    });
  });

  it("runs and loads nothing that stands in a cell or an output", () => {
    const { result, log } = load(
      exportHtml(hostile, { title: "n", version: "0" }),
      `const q = (s) => document.querySelectorAll(s); const handlers = [...q("*")].filter((e) => [...e.attributes].some((a) => /^on/i.test(a.name))).length;
       return { hits, handlers, outside: [...document.body.children].filter((e) => e.id !== "js-plotly-tester").map((e) => e.tagName).filter((t) => t !== "SCRIPT"), frames: q("iframe, object, embed, form, link:not([rel=icon]), main meta, main style, main script").length,
         addresses: [...q("[src], a[href]")].map((e) => e.getAttribute("src") ?? e.getAttribute("href")).filter((a) => !/^data:image/.test(a)), sections: q("main > section").length, charts: q(".plot-container").length };`,
    );
    expect(log.filter((line) => !/data:image\/svg|Error parsing|xml/i.test(line))).toEqual([]);
    expect(result).toEqual({
      hits: [],
      handlers: 0,
      outside: ["MAIN"],
      frames: 0,
      addresses: [],
      sections: 2 * attacks.length,
      charts: attacks.length,
    });
  });

  it("would be caught: the same text put in raw does run or is refused by the policy", () => {
    const page = exportHtml(plain, { title: "n", version: "0" });
    const raw = page.replace("<footer", () => `<img src=x onerror="hit(2)"><script>hit(1)</script><footer`);
    const { log } = load(raw, "return {}");
    expect(log.filter((line) => line.includes("Content Security Policy")).length).toBeGreaterThanOrEqual(2);
    const open = raw.replace(/<meta http-equiv[^>]*>/, "");
    expect(load(open, "return { hits }").result.hits).toEqual(expect.arrayContaining([1]));
  });
});

describe("Markdown", () => {
  // Expected HTML by the rules of CommonMark 0.31 and of tables as widely used; our own output has no ids.
  it.each([
    ["# A\n## B ##\nC", "<h1>A</h1>\n<h2>B</h2>\n<p>C</p>"],
    ["a\nb  \nc\n\nd", "<p>a\nb<br>\nc</p>\n<p>d</p>"],
    ["- a\n- b\n  - c\n  - d\n- e", "<ul><li>a</li><li>b\n<ul><li>c</li><li>d</li></ul></li><li>e</li></ul>"],
    ["3. a\n4. b", '<ol start="3"><li>a</li><li>b</li></ol>'],
    ["- a\n\n  b\n- c", "<ul><li><p>a</p>\n<p>b</p></li><li>c</li></ul>"],
    [
      "**a** *b* ***c*** _d_ snake_case_name 2*3*4",
      "<p><strong>a</strong> <em>b</em> <em><strong>c</strong></em> <em>d</em> snake_case_name 2<em>3</em>4</p>",
    ],
    ["`*a*` ``b`c``", "<p><code>*a*</code> <code>b`c</code></p>"],
    ["\\*a\\* a \\| b", "<p>*a* a | b</p>"],
    ["```ts\n<b> *x*\n```\nafter", "<pre><code>&#60;b&#62; *x*</code></pre>\n<p>after</p>"],
    ["> a\n> b\n\nc", "<blockquote><p>a\nb</p></blockquote>\n<p>c</p>"],
    ["a\n\n---\n\nb", "<p>a</p>\n<hr>\n<p>b</p>"],
    [
      "[a *b*](https://x.org/?a=1&b=2)",
      '<p><a href="https://x.org/?a=1&#38;b=2" rel="noopener noreferrer">a <em>b</em></a></p>',
    ],
    [
      "[a](file:///etc/passwd) <https://x.org>",
      '<p>a <a href="https://x.org" rel="noopener noreferrer">https://x.org</a></p>',
    ],
    ["<b>&amp; a < b", "<p>&#60;b&#62;&#38;amp; a &#60; b</p>"],
    ["T ~ X^0.6 and 5 * 3 * 2 = 30", "<p>T ~ X^0.6 and 5 * 3 * 2 = 30</p>"],
  ])("%j", (markdown, html) => {
    expect(markdownHtml(markdown)).toBe(html);
  });

  it("pictures are attachments or data; others are named", () => {
    const attachment = (name: string) => (name === "a b.png" ? `data:image/png;base64,${dot}` : null);
    const html = markdownHtml("![x](attachment:a%20b.png) ![y](https://x.org/y.png)", { attachment });
    expect(html).toBe(`<p><img src="data:image/png;base64,${dot}" alt="x"> <em>y</em></p>`);
  });

  it("a million odd characters take no time", () => {
    const started = performance.now();
    for (const odd of ["*", "`", "[", "_ a", "![", "|\n", "> ", "<", "- ", "**a ", "\\", "[a](", "~~"])
      expect(markdownHtml(odd.repeat(20_000 / odd.length)).length).toBeGreaterThan(0);
    for (const odd of ["<", "<a ", '<a "', "&", "<!--", "<b>", "</b>"]) sanitiseHtml(odd.repeat(20_000 / odd.length));
    expect(performance.now() - started).toBeLessThan(5000);
  });
});

describe("code, text and Markdown", () => {
  it("colours by the scanner: templates, regular expressions, comments; the text stays the same", () => {
    const source =
      'const a = `x §{b / 2 + `§{c}`} y` / 3; // c < d\nreturn x.of / /[/]"/g.test("q") as Type'.replaceAll("§", "$");
    const html = colouredCode(source);
    const of = (kind: string) =>
      [...html.matchAll(new RegExp(`<span class="${kind}">(.*?)</span>`, "g"))].map((m) => m[1]);
    expect(of("k")).toEqual(["const", "return", "as"]);
    expect(of("n")).toEqual(["2", "3"]);
    expect(of("c")).toEqual(["// c &#60; d"]);
    expect(of("s")).toEqual(
      ["`x $", "`$"].map((head) => `${head}{`).concat("}`", "} y`", "/[/]&#34;/g", "&#34;q&#34;"),
    );
    const text = html.replace(/<[^>]*>/g, "").replace(/&#(\d+);/g, (_, n) => String.fromCharCode(Number(n)));
    expect(text).toBe(source);
    for (const broken of ["`§{", "const = {{{ `§{ }", "'open", "/* open", "}}}}`"])
      expect(colouredCode(broken.replace("§", "$")).replace(/<[^>]*>/g, "").length).toBeGreaterThan(0);
  });

  it("terminal output is read as on a terminal", () => {
    expect(plainText("\u001b[1;31mred\u001b[0m \u001b]0;title\u0007x\r\na\rb\r\nc\r")).toBe("red x\nb\nc");
  });

  it("harmless HTML stays as it is", () => {
    const table = '<table class="t"><tr><td style="text-align: right">1 &lt; 2</td></tr></table>';
    expect(sanitiseHtml(table)).toBe(table);
  });

  it("Markdown holds words, code, text of outputs and pictures", () => {
    const markdown = exportMarkdown(plain);
    expect(markdown).toContain("# A **night**\n\nOne `code`");
    expect(markdown).toContain(
      "```ts\nconst limit = 3; // words\nlimit\n```\n\n```text\n100 %\ngreen\n```\n\n```text\n3\n```\n\n```text\nthree stars\n```",
    );
    expect(markdown).toContain(`![a dot](data:image/png;base64,${dot})`);
    expect(markdown).toContain("```text\nRangeError: boom\nat 1\n```");
    expect(exportMarkdown(notebookOf(code("a", "`````")))).toBe("``````ts\n`````\n``````\n");
  });

  it("nightyield export writes the page and the text, and says what is wrong with a call", () => {
    const path = join(folder, "n.ipynb");
    writeFileSync(path, writeNotebook(plain));
    const run = (...args: string[]) =>
      spawnSync(process.execPath, [main, "export", ...args], { encoding: "utf8", cwd: folder });
    expect(run(path, "--to", "html").status).toBe(0);
    expect(readFileSync(join(folder, "nightyield-out/n.html"), "utf8")).toContain('<main class="notebook">');
    expect(run(path, "--to", "md", "--out", "x.md").status).toBe(0);
    expect(readFileSync(join(folder, "x.md"), "utf8")).toBe(exportMarkdown(plain));
    for (const [args, says] of [
      [[path], "--to is missing"],
      [[path, "--to", "pdf"], "--to is 'pdf'"],
      [["gone.ipynb", "--to", "md"], "Cannot read the notebook"],
      [[path, "--to", "md", "--out", path], "is the notebook itself"],
    ] as const) {
      const ended = run(...args);
      expect([ended.status, ended.stderr]).toEqual([2, expect.stringContaining(says)]);
    }
  });
});
