import { escapeHtml } from "../show/html.js";

/** One column: how it is headed, what it holds. */
export interface TableColumn {
  readonly head: string;
  /** Shown when the pointer rests on the head. */
  readonly title?: string;
  readonly cells: readonly string[];
  /** Numbers stand to the right and sort as numbers. */
  readonly isNumber: boolean;
}

/** A table of text cells that sorts by a click on a head where the client lets it, and is plain where it does not. */
export function sortableTable(columns: readonly TableColumn[], caption: string): string {
  const rows = columns[0]?.cells.length ?? 0;
  const head = columns
    .map(
      ({ head, title, isNumber }) =>
        `<th scope="col"${title ? ` title="${escapeHtml(title)}"` : ""} style="cursor:pointer;text-align:${isNumber ? "right" : "left"}" onclick="${sortScript}">${escapeHtml(head)}</th>`,
    )
    .join("");
  const body = Array.from({ length: rows }, (_, row) => {
    const cells = columns.map(
      ({ cells, isNumber }) =>
        `<td style="text-align:${isNumber ? "right" : "left"};${wrapping(cells[row]!)}">${escapeHtml(cells[row]!)}</td>`,
    );
    return `<tr>${cells.join("")}</tr>`;
  }).join("\n");
  return `<div style="max-height:30em;overflow:auto"><table style="border-collapse:collapse;font-variant-numeric:tabular-nums"><caption style="text-align:left">${escapeHtml(caption)}</caption><thead><tr>${head}</tr></thead><tbody>\n${body}\n</tbody></table></div>`;
}

/** Sentences wrap, dates and names do not. */
const wrapping = (cell: string) =>
  cell.length > 32 && cell.includes(" ") ? "white-space:normal;min-width:14em" : "white-space:nowrap";

// Up, then down; what is not a number goes last. In an attribute, so that the table needs no script element.
const sortScript = escapeHtml(
  "var t=this.closest('table').tBodies[0],i=this.cellIndex,d=this.dataset.d=this.dataset.d==='1'?'-1':'1',n=function(r){var x=parseFloat(r.cells[i].textContent);return x};Array.from(t.rows).sort(function(a,b){var x=n(a),y=n(b);if(x===x&&y===y)return d*(x-y);if(x===x)return -1;if(y===y)return 1;return d*a.cells[i].textContent.localeCompare(b.cells[i].textContent)}).forEach(function(r){t.appendChild(r)})",
);

/** The same as text, columns aligned. */
export function textTable(columns: readonly TableColumn[]): string {
  const widths = columns.map(({ head, cells }) => Math.max(head.length, ...cells.map((cell) => cell.length)));
  const line = (texts: readonly string[]) =>
    texts
      .map((text, i) => (columns[i]!.isNumber ? text.padStart(widths[i]!) : text.padEnd(widths[i]!)))
      .join("  ")
      .trimEnd();
  const rows = columns[0]?.cells.length ?? 0;
  return [
    line(columns.map(({ head }) => head)),
    ...Array.from({ length: rows }, (_, row) => line(columns.map(({ cells }) => cells[row]!))),
  ].join("\n");
}

/** A number short enough for a table; empty where there is none. */
export function shortNumber(value: number): string {
  if (Number.isNaN(value)) return "";
  if (Number.isInteger(value) || !Number.isFinite(value)) return String(value);
  const size = Math.abs(value);
  if (size >= 1e6 || size < 1e-4) return value.toPrecision(4);
  return String(Number(value.toFixed(size >= 1000 ? 0 : size >= 100 ? 1 : size >= 1 ? 2 : 4)));
}
