import { escapeHtml } from "../show/html.js";

/** What surrounds a Markdown text and is needed to render it. */
export interface MarkdownContext {
  /** The data address of a picture attached to the cell, or null. */
  readonly attachment?: (name: string) => string | null;
}

/**
 * Markdown as HTML: headings, paragraphs, lists, tables, quotes, code, emphasis, links and pictures. HTML inside it is
 * shown as text; links lead to http, https, mailto and places in the page only; pictures are attachments and data, as a
 * page that opens offline can hold no others. So nothing in a text can run, load or break out of its place.
 */
export function markdownHtml(markdown: string, context: MarkdownContext = {}): string {
  return blocks(markdown.replace(/\r\n?/g, "\n").split("\n"), { ...context, depth: 0 });
}

interface Inside extends MarkdownContext {
  /** How many quotes and lists are open around the text. */
  readonly depth: number;
}
const deepest = 20;

const fence = /^ {0,3}(`{3,}|~{3,})\s*([^`]*)$/;
const heading = /^ {0,3}(#{1,6})(?:\s+(.*?))?(?:\s+#+)?\s*$/;
const rule = /^ {0,3}(?:(?:\*\s*){3,}|(?:-\s*){3,}|(?:_\s*){3,})$/;
const item = /^( *)([-*+]|\d{1,9}[.)])(?:\s+(.*))?$/;
const tableRule = /^ {0,3}\|?\s*:?-+:?\s*(?:\|\s*:?-+:?\s*)*\|?\s*$/;

function blocks(lines: readonly string[], context: Inside): string {
  if (context.depth > deepest) return `<p>${escapeHtml(lines.join("\n"))}</p>`;
  const deeper = { ...context, depth: context.depth + 1 };
  const html: string[] = [];
  let at = 0;
  while (at < lines.length) {
    const line = lines[at]!;
    const fenced = fence.exec(line);
    const titled = heading.exec(line);
    if (line.trim() === "") at++;
    else if (fenced !== null) {
      let end = at + 1;
      while (end < lines.length && !closes(lines[end]!, fenced[1]!)) end++;
      html.push(`<pre><code>${escapeHtml(lines.slice(at + 1, end).join("\n"))}</code></pre>`);
      at = end + 1;
    } else if (titled !== null) {
      const level = titled[1]!.length;
      html.push(`<h${level}>${inline(titled[2] ?? "", context)}</h${level}>`);
      at++;
    } else if (rule.test(line)) {
      html.push("<hr>");
      at++;
    } else if (/^ {0,3}>/.test(line)) {
      const end = endOf(lines, at, (next) => /^ {0,3}>/.test(next));
      const inside = lines.slice(at, end).map((quoted) => quoted.replace(/^ {0,3}> ?/, ""));
      html.push(`<blockquote>${blocks(inside, deeper)}</blockquote>`);
      at = end;
    } else if (item.test(line)) {
      const { list, end } = listFrom(lines, at, deeper);
      html.push(list);
      at = end;
    } else if (line.includes("|") && at + 1 < lines.length && tableRule.test(lines[at + 1]!)) {
      const end = endOf(lines, at + 2, (next) => next.includes("|"));
      html.push(table(lines.slice(at, end), context));
      at = end;
    } else {
      const end = endOf(lines, at + 1, (next) => !startsBlock(next));
      html.push(`<p>${inline(lines.slice(at, end).join("\n").trim(), context)}</p>`);
      at = end;
    }
  }
  return html.join("\n");
}

const closes = (line: string, opened: string) =>
  line.trim().startsWith(opened) && line.trim().replaceAll(opened[0]!, "") === "";
const startsBlock = (line: string) =>
  line.trim() === "" ||
  fence.test(line) ||
  heading.test(line) ||
  rule.test(line) ||
  /^ {0,3}>/.test(line) ||
  item.test(line);

function endOf(lines: readonly string[], from: number, goesOn: (line: string) => boolean): number {
  let end = from;
  while (end < lines.length && goesOn(lines[end]!)) end++;
  return end;
}

/** A list with the lines indented below its items, which may be lists themselves. */
function listFrom(lines: readonly string[], from: number, context: Inside): { list: string; end: number } {
  const [, indent, mark] = item.exec(lines[from]!)!;
  const numbered = /\d/.test(mark!);
  const items: string[] = [];
  let at = from;
  while (at < lines.length) {
    const found = item.exec(lines[at]!);
    if (found === null || found[1]!.length !== indent!.length || /\d/.test(found[2]!) !== numbered) break;
    const inside = [found[3] ?? ""];
    at++;
    while (at < lines.length) {
      const line = lines[at]!;
      const deep = line.length - line.trimStart().length > indent!.length;
      const blankInside = line.trim() === "" && /^ +\S/.test(lines[at + 1] ?? "");
      if (!deep && !blankInside && (line.trim() === "" || startsBlock(line))) break;
      inside.push(line.slice(Math.min(line.length - line.trimStart().length, indent!.length + found[2]!.length + 1)));
      at++;
    }
    const content = blocks(inside, context);
    // A short item needs no paragraph around its one text.
    items.push(`<li>${inside.includes("") ? content : content.replace(/^<p>([\s\S]*?)<\/p>/, "$1")}</li>`);
    if (lines[at]?.trim() === "" && item.test(lines[at + 1] ?? "")) at++;
  }
  const tag = numbered ? "ol" : "ul";
  const start = numbered && Number.parseInt(mark!, 10) !== 1 ? ` start="${Number.parseInt(mark!, 10)}"` : "";
  return { list: `<${tag}${start}>${items.join("")}</${tag}>`, end: at };
}

function table([head, ruler, ...rows]: readonly string[], context: Inside): string {
  const cellsOf = (line: string) =>
    line
      .trim()
      .replace(/^\||\|$/g, "")
      .split(/(?<!\\)\|/)
      .map((cell) => cell.trim().replaceAll("\\|", "|"));
  const right = cellsOf(ruler!).map((mark) => mark.endsWith(":"));
  const names = cellsOf(head!);
  const line = (cells: readonly string[], tag: string) =>
    `<tr>${names.map((_, i) => `<${tag}${right[i] === true ? ' class="number"' : ""}>${inline(cells[i] ?? "", context)}</${tag}>`).join("")}</tr>`;
  const body = rows.map((row) => line(cellsOf(row), "td")).join("");
  return `<div class="scroll" tabindex="0" role="region" aria-label="table"><table><thead>${line(names, "th")}</thead><tbody>${body}</tbody></table></div>`;
}

/** Text with code, emphasis, links and pictures. What is done is kept aside, so that no rule sees another's result. */
function inline(text: string, context: MarkdownContext): string {
  const done: string[] = [];
  // Private-use characters as placeholders; any in the text itself would be taken for one.
  const keep = (html: string) => `\ue000${done.push(html) - 1}\ue001`;
  const kept = text
    .replace(/[\ue000\ue001]/g, "\ufffd")
    .replace(/(`+)([^`]|[^`][\s\S]*?[^`])\1(?!`)/g, (_, _ticks, code) =>
      keep(`<code>${escapeHtml(code.trim())}</code>`),
    )
    .replace(/\\([\\`*_{}[\]()#+\-.!|<>~])/g, (_, character) => keep(escapeHtml(character)))
    .replace(/!\[([^\]]*)\]\(([^()\s]+)(?:\s+"[^"]*")?\)/g, (_, words, address) =>
      keep(picture(words, address, context)),
    )
    .replace(/\[([^\]]+)\]\(([^()\s]*)(?:\s+"[^"]*")?\)/g, (_, words, address) => keep(link(words, address, context)))
    .replace(/<((?:https?:\/\/|mailto:)[^<>\s]+)>/g, (_, address) => keep(link(address, address, {})));
  const marked = escapeHtml(kept)
    .replace(/\*\*\*(?=[^\s*])([^*]*[^\s*])\*\*\*/g, "<em><strong>$1</strong></em>")
    .replace(/\*\*(?=\S)([\s\S]*?\S)\*\*/g, "<strong>$1</strong>")
    .replace(/(?<!\w)__(?=\S)([\s\S]*?\S)__(?!\w)/g, "<strong>$1</strong>")
    .replace(/\*(?=[^\s*])([\s\S]*?[^\s*])\*/g, "<em>$1</em>")
    .replace(/(?<!\w)_(?=[^\s_])([\s\S]*?[^\s_])_(?!\w)/g, "<em>$1</em>")
    .replace(/~~(?=\S)([\s\S]*?\S)~~/g, "<del>$1</del>")
    .replace(/(?: {2,}|\\)\n/g, "<br>\n");
  const restore = (html: string): string =>
    html.replace(/\ue000(\d+)\ue001/g, (_, index) => restore(done[Number(index)]!));
  return restore(marked);
}

function link(words: string, address: string, context: MarkdownContext): string {
  const shown = words === address ? escapeHtml(words) : inline(words, context);
  return /^(?:https?:\/\/|mailto:|#)/i.test(address)
    ? `<a href="${escapeHtml(address)}" rel="noopener noreferrer">${shown}</a>`
    : shown;
}

function picture(words: string, address: string, { attachment }: MarkdownContext): string {
  const data = address.startsWith("attachment:") ? attachment?.(decodeName(address)) : address;
  return data != null && /^data:image\/(?:png|jpeg|gif|webp|svg\+xml);base64,[\w+/=]+$/.test(data)
    ? `<img src="${data}" alt="${escapeHtml(words)}">`
    : `<em>${escapeHtml(words || address)}</em>`;
}

function decodeName(address: string): string {
  const name = address.slice("attachment:".length);
  try {
    return decodeURIComponent(name);
  } catch {
    return name;
  }
}
