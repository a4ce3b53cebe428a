import { type Cell, isObject, type MimeBundle, type Notebook, type Output } from "./notebook-shape.js";

/**
 * A notebook as the text of an .ipynb file: keys in alphabetical order, one space of indent, text as lists of lines, one
 * newline at the end. These are the bytes that Jupyter's own writer (nbformat) gives, so that saving there changes nothing.
 * @example
 * ```ts
 * import { readNotebook, writeNotebook } from "nightyield";
 * console.log(writeNotebook(readNotebook("first.ipynb")).length);
 * ```
 */
export function writeNotebook(notebook: Notebook): string {
  const { cells, metadata, nbformat, nbformat_minor } = notebook;
  return `${JSON.stringify(sorted({ cells: cells.map(split), metadata, nbformat, nbformat_minor }), null, 1)}\n`;
}

function split(cell: Cell): unknown {
  const source = lines(cell.source);
  if (cell.cell_type === "code") return { ...cell, source, outputs: cell.outputs.map(splitOutput) };
  const { attachments } = cell;
  if (attachments === undefined) return { ...cell, source };
  const bundles = Object.entries(attachments).map(([name, bundle]) => [name, splitBundle(bundle)]);
  return { ...cell, source, attachments: Object.fromEntries(bundles) };
}

function splitOutput(output: Output): unknown {
  if (output.output_type === "stream") return { ...output, text: lines(output.text) };
  return output.output_type === "error" ? output : { ...output, data: splitBundle(output.data) };
}

/** Text, scripts and drawings are split; an image in base 64 stays one line. */
const splitBundle = (bundle: MimeBundle) =>
  Object.fromEntries(
    Object.entries(bundle).map(([mime, content]) => {
      const isText = mime.startsWith("text/") || mime === "application/javascript" || mime === "image/svg+xml";
      return [mime, isText && typeof content === "string" ? lines(content) : content];
    }),
  );

const ends = "\\n\\r\\v\\f\\x1c-\\x1e\\x85\\u2028\\u2029";
const line = new RegExp(`[^${ends}]*(?:\\r\\n|[${ends}])|[^${ends}]+$`, "g");
/** The lines of a text with their ends; ends are those that Python's `str.splitlines` knows, as its writer uses that. */
const lines = (text: string): string[] => text.match(line) ?? [];

function sorted(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(sorted);
  if (!isObject(value)) return value;
  const names = Object.keys(value).sort((a, b) => (a < b ? -1 : 1));
  return Object.fromEntries(names.map((name) => [name, sorted(value[name])]));
}
