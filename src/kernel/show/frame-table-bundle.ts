import { firstColumns } from "../../library/frames.js";
import { shortNumber, sortableTable, type TableColumn, textTable } from "../../library/table-text.js";
import {
  type ColumnName,
  columnNames,
  columnRegistry,
  type FrameTable,
  isTextColumn,
} from "../../terms/frame-table.js";
import type { MimeBundle } from "../messages/message.js";

/** More rows make a notebook slow; the caption says what is left out. */
const mostHtmlRows = 500;
const mostTextRows = 20;
/** What a reader looks at first, in this order; other columns are in the table all the same. */
const shownColumns: readonly ColumnName[] = [
  "file",
  "target",
  "filter",
  "startUtc",
  "exposureS",
  "altitudeDeg",
  "starCount",
  "fwhmPx",
  "eccentricity",
  "backgroundAdu",
  "noiseAdu",
  "transparency",
  "weight",
  "verdict",
  "symptoms",
  "cause",
];

/** True for a frame table: all its columns, each as long as it says. */
export function isFrameTable(value: unknown): value is FrameTable {
  if (typeof value !== "object" || value === null || !("rows" in value)) return false;
  const columns = value as Readonly<Record<string, { readonly length?: unknown } | undefined>>;
  return columnNames.every((name) => columns[name]?.length === value.rows);
}

/** A frame table as a compact table: the columns that hold something. */
export function frameTableBundle(table: FrameTable): MimeBundle {
  const html = columnsOf(table, shownColumns, mostHtmlRows);
  const text = columnsOf(table, firstColumns, mostTextRows);
  const left = (most: number) => (table.rows > most ? `, the first ${most} of them here` : "");
  const size = `Frame table: ${table.rows} ${table.rows === 1 ? "row" : "rows"}`;
  return {
    "text/html": sortableTable(html, `${size}${left(mostHtmlRows)}`),
    "text/plain": `${size}${left(mostTextRows)}\n${textTable(text)}`,
  };
}

function columnsOf(table: FrameTable, names: readonly ColumnName[], most: number): TableColumn[] {
  const rows = Math.min(most, table.rows);
  return names.flatMap((name) => {
    const isNumber = !isTextColumn(name);
    const column = table[name];
    const cells = Array.from({ length: rows }, (_, row) =>
      isNumber ? shortNumber(column[row] as number) : String(column[row]),
    );
    if (name !== "file" && cells.every((cell) => cell === "")) return [];
    const { unit, description } = columnRegistry[name];
    return [{ head: name, title: unit === "" ? description : `${description}, ${unit}`, cells, isNumber }];
  });
}
