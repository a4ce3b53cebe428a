import { createHash } from "node:crypto";
import { escapeHtml, scriptJson } from "../show/html.js";
import { pageStyle } from "../show/page-style.js";
import { plotlyScript } from "../show/plotly-script.js";
import { colouredCode } from "./coloured-code.js";
import { figureScript, notebookStyle } from "./export-page.js";
import { markdownHtml } from "./markdown.js";
import {
  type Cell,
  type CodeCell,
  isObject,
  type Json,
  type MimeBundle,
  type Notebook,
  type Output,
} from "./notebook-shape.js";
import { plainText } from "./plain-text.js";
import { sanitiseHtml } from "./sanitise-html.js";

export interface HtmlExport {
  /** Shown where the notebook has no heading of its own. */
  readonly title: string;
  /** Version of nightyield, for the foot of the page. */
  readonly version: string;
}

/**
 * A notebook as one self-contained page: opens without a network, in light and dark, on a phone and on paper. Charts are
 * drawn by the chart library inside the page. The page runs its own scripts only: the browser is told their hashes, so
 * nothing that stands in a cell or an output can run or load anything.
 */
export function exportHtml(notebook: Notebook, { title, version }: HtmlExport): string {
  const figures: Json[] = [];
  const body = notebook.cells.map((cell) => cellHtml(cell, figures)).join("\n");
  const named = headingOf(notebook) ?? title;
  const scripts = figures.length === 0 ? [] : [plotlyScript(), figureScript];
  const hashes = scripts.map((script) => `'sha256-${createHash("sha256").update(script).digest("base64")}'`);
  const policy = `default-src 'none'; script-src ${hashes.join(" ") || "'none'"}; style-src 'unsafe-inline'; img-src data: blob:; base-uri 'none'; form-action 'none'`;
  return `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="${escapeHtml(policy)}"><meta name="color-scheme" content="light dark">
<title>${escapeHtml(named)} \u2013 nightyield</title><link rel="icon" href="data:,"><style>${pageStyle}${notebookStyle}</style></head>
<body><main class="notebook">
${body}
<footer class="soft"><p>Made with nightyield ${escapeHtml(version)}.</p></footer>
</main>
${figures.length === 0 ? "" : `<script type="application/json" id="figures-data">${scriptJson(figures)}</script>`}
${scripts.map((script) => `<script>${script}</script>`).join("\n")}
</body></html>
`;
}

function headingOf({ cells }: Notebook): string | null {
  for (const { cell_type, source } of cells) {
    const found = cell_type === "markdown" ? /^# +(.+)$/m.exec(source) : null;
    if (found !== null) return found[1]!.replace(/[*_`]/g, "").trim();
  }
  return null;
}

function cellHtml(cell: Cell, figures: Json[]): string {
  if (cell.cell_type !== "code") {
    if (cell.cell_type === "raw") return "";
    const attachment = (name: string) => pictureAddress(cell.attachments?.[name] ?? {});
    return `<section class="words">${markdownHtml(cell.source, { attachment })}</section>`;
  }
  const code =
    cell.source.trim() === "" || isHidden(cell, "source_hidden")
      ? ""
      : `<pre class="code" tabindex="0" role="region" aria-label="code"><code>${colouredCode(cell.source)}</code></pre>`;
  const outputs = isHidden(cell, "outputs_hidden") ? [] : cell.outputs;
  const shown = outputs.map((output) => outputHtml(output, figures)).join("\n");
  return `<section class="cell">${code}${shown === "" ? "" : `<div class="outputs">${shown}</div>`}</section>`;
}

const isHidden = ({ metadata: { jupyter } }: CodeCell, what: string) => isObject(jupyter) && jupyter[what] === true;

function outputHtml(output: Output, figures: Json[]): string {
  switch (output.output_type) {
    case "stream":
      return text(plainText(output.text), output.name === "stderr" ? "said aside-said" : "said");
    case "error":
      return text(plainText(errorText(output)), "said failed");
    default:
      return bundleHtml(output.data, figures);
  }
}

/** The error's lines; name and message stand in them or before them. */
export function errorText({ ename, evalue, traceback }: Extract<Output, { output_type: "error" }>): string {
  const lines = traceback.join("\n");
  const head = `${ename}: ${evalue}`;
  return lines.includes(evalue) && lines !== "" ? lines : `${head}\n${lines}`.trimEnd();
}

/** The richest form that can stand in a page. */
function bundleHtml(data: MimeBundle, figures: Json[]): string {
  const words = textOf(data, "text/plain");
  const figure = data[plotlyMime];
  if (isObject(figure) && Array.isArray(figure.data)) {
    const { data: traces, layout } = figure as { readonly data: Json; readonly layout?: Json };
    const number = figures.push({ data: traces, layout: layout ?? {} }) - 1;
    const label = words === null ? "chart" : plainText(words);
    const spoken =
      words === null || words.length < 40
        ? ""
        : `<details class="screen"><summary>The same in words</summary>${text(label, "said")}</details>`;
    return `<div class="chart" data-figure="${number}" role="img" aria-label="${escapeHtml(label.slice(0, 300))}"></div>${spoken}`;
  }
  const html = textOf(data, "text/html");
  if (html !== null) return `<div class="html-output">${sanitiseHtml(html)}</div>`;
  const markdown = textOf(data, "text/markdown");
  if (markdown !== null) return markdownHtml(markdown);
  const address = pictureAddress(data);
  if (address !== null)
    return `<figure><img src="${address}" alt="${escapeHtml(plainText(words ?? "picture"))}"></figure>`;
  if (words !== null) return text(plainText(words), "said");
  const [mime, json] = Object.entries(data)[0] ?? [];
  return mime === undefined ? "" : text(typeof json === "string" ? json : JSON.stringify(json, null, 1), "said");
}

export const plotlyMime = "application/vnd.plotly.v1+json";
const pictures = ["image/svg+xml", "image/png", "image/jpeg", "image/gif", "image/webp"] as const;

/** The data address of the picture in a bundle; null where there is none. A drawing (SVG) in a picture cannot run scripts. */
export function pictureAddress(data: MimeBundle): string | null {
  for (const mime of pictures) {
    const content = textOf(data, mime);
    if (content === null) continue;
    const base64 = mime === "image/svg+xml" ? Buffer.from(content).toString("base64") : content.replace(/\s+/g, "");
    if (/^[\w+/]+=*$/.test(base64)) return `data:${mime};base64,${base64}`;
  }
  return null;
}

const textOf = (data: MimeBundle, mime: string): string | null => {
  const content = data[mime];
  return typeof content === "string" ? content : null;
};

const text = (content: string, classes: string) =>
  `<pre class="${classes}" tabindex="0" role="region" aria-label="output">${escapeHtml(content.replace(/\n$/, ""))}</pre>`;
