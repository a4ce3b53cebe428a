/** Text made safe for HTML content and attributes. */
export function escapeHtml(text: string): string {
  return text.replace(/[&<>"']/g, (c) => `&#${c.charCodeAt(0)};`);
}

/** Text for reading: escaped, and a number stays on one line with its unit. */
export function proseHtml(text: string): string {
  return escapeHtml(text)
    .replace(/(\d) (?=(?:h|min|s|px|ADU|%|\u00b0C)(?![a-z]))/g, "$1\u00a0")
    .replace(/h (?=\d+\u00a0min)/g, "h\u00a0");
}

/** JSON that can stand in a script element: no "</script>", no line separators that end a string. */
export function scriptJson(value: unknown): string {
  return JSON.stringify(value).replace(
    /[<\u2028\u2029]/g,
    (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, "0")}`,
  );
}

/** A table of numbers with names in its first column; cells are escaped. */
export function tableHtml(caption: string, head: readonly string[], rows: readonly (readonly string[])[]): string {
  const line = (cells: readonly string[], tag: string) =>
    `<tr>${cells.map((cell, i) => `<${tag}${tag === "th" ? ' scope="col"' : ""}${i > 0 ? ' class="number"' : ""}>${escapeHtml(cell)}</${tag}>`).join("")}</tr>`;
  return `<div class="scroll" tabindex="0" role="region" aria-label="${escapeHtml(caption)}"><table><caption>${escapeHtml(caption)}</caption><thead>${line(head, "th")}</thead><tbody>${rows.map((row) => line(row, "td")).join("\n")}</tbody></table></div>`;
}
