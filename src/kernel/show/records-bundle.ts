import { shortNumber, sortableTable, type TableColumn } from "../../library/table-text.js";
import { isRecord, type MimeBundle } from "../messages/message.js";
import { plainText } from "./plain-text.js";

const mostRows = 500;
const mostColumns = 60;

type Plain = Readonly<Record<string, unknown>>;

/** True for a list of plain objects, such as grades, episodes or rows of a plan. */
export function isRecords(value: unknown): value is readonly Plain[] {
  return (
    Array.isArray(value) &&
    value.length > 0 &&
    value.every((item) => isRecord(item) && [Object.prototype, null].includes(Object.getPrototypeOf(item)))
  );
}

/** The rows of a DataFrame or Series of danfojs; undefined for anything else. */
export function dataFrameRecords(value: object): readonly Plain[] | undefined {
  const frame = value as { columns?: unknown; values?: unknown; index?: unknown; shape?: unknown };
  if (!("$data" in value) || !Array.isArray(frame.columns) || !Array.isArray(frame.values)) return undefined;
  const names = frame.columns.map(String);
  const index = Array.isArray(frame.index) ? frame.index : [];
  return frame.values.slice(0, mostRows).map((row, i) => {
    const cells: unknown[] = Array.isArray(row) ? row : [row];
    return Object.fromEntries([["", index[i] ?? i], ...names.map((name, c) => [name, cells[c]] as const)]);
  });
}

/** Plain objects as a table, one row each. @param whole - what they were taken from */
export function recordsBundle(records: readonly Plain[], whole: object): MimeBundle {
  const rows = records.slice(0, mostRows);
  const names = [...new Set(rows.flatMap((row) => Object.keys(row)))].slice(0, mostColumns);
  const columns = names.map((name): TableColumn => {
    const values = rows.map((row) => row[name]);
    return {
      head: name,
      cells: values.map(cellText),
      isNumber: values.every((item) => typeof item === "number" || item === undefined || item === null),
    };
  });
  const total = Array.isArray(whole)
    ? whole.length
    : ((whole as { shape?: readonly number[] }).shape?.[0] ?? rows.length);
  const caption = `${total} ${total === 1 ? "row" : "rows"}${total > rows.length ? `, the first ${rows.length} of them here` : ""}`;
  const text = Array.isArray(whole) ? plainText(whole) : String(whole);
  return { "text/html": sortableTable(columns, caption), "text/plain": text };
}

function cellText(value: unknown): string {
  if (value === undefined || value === null) return "";
  if (typeof value === "number") return shortNumber(value);
  if (typeof value === "string") return value;
  if (value instanceof Date) return Number.isNaN(value.getTime()) ? "" : value.toISOString();
  return plainText(value);
}
