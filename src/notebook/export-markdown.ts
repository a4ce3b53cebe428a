import { errorText, pictureAddress } from "./export-html.js";
import type { Cell, MimeBundle, Notebook, Output } from "./notebook-shape.js";
import { plainText } from "./plain-text.js";
import { sanitiseHtml } from "./sanitise-html.js";

/**
 * A notebook as one Markdown text: words as they are, code in fences, of each output the form that reads best as text
 * (Markdown, else plain text, else HTML), pictures embedded. Charts are given by their text form.
 */
export function exportMarkdown(notebook: Notebook): string {
  const parts = notebook.cells.flatMap(cellParts).filter((part) => part !== "");
  return `${parts.join("\n\n")}\n`;
}

function cellParts(cell: Cell): string[] {
  if (cell.cell_type === "raw") return [];
  const source = cell.source.replace(/\s+$/, "");
  if (cell.cell_type === "code") return [source === "" ? "" : fenced(source, "ts"), ...cell.outputs.map(outputPart)];
  return [
    source.replace(/\]\(attachment:([^()\s]+)\)/g, (whole, name: string) => {
      const address = pictureAddress(cell.attachments?.[name] ?? {});
      return address === null ? whole : `](${address})`;
    }),
  ];
}

function outputPart(output: Output): string {
  if (output.output_type === "stream") return fenced(plainText(output.text), "text");
  if (output.output_type === "error") return fenced(plainText(errorText(output)), "text");
  return bundlePart(output.data);
}

function bundlePart(data: MimeBundle): string {
  const { "text/markdown": markdown, "text/plain": plain, "text/html": html } = data;
  if (typeof markdown === "string") return markdown.trim();
  const address = pictureAddress(data);
  const words = typeof plain === "string" ? plainText(plain) : "";
  if (address !== null) return `![${words.split("\n")[0]!.replace(/[[\]]/g, "") || "picture"}](${address})`;
  if (words !== "") return fenced(words, "text");
  // A blank line would end the HTML for a Markdown reader.
  if (typeof html === "string")
    return sanitiseHtml(html)
      .replace(/\n\s*\n/g, "\n")
      .trim();
  return Object.keys(data).length === 0 ? "" : fenced(JSON.stringify(Object.values(data)[0], null, 1), "json");
}

/** A fence longer than any inside. */
function fenced(text: string, language: string): string {
  const longest = Math.max(2, ...(text.match(/`+/g) ?? []).map((ticks) => ticks.length));
  const fence = "`".repeat(longest + 1);
  return `${fence}${language}\n${text.replace(/\n+$/, "")}\n${fence}`;
}
