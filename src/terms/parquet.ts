import { parquetWriteBuffer } from "hyparquet-writer";
import { columnNames, columnRegistry, type FrameTable, isTextColumn } from "./frame-table.js";

/**
 * The frame table as a Parquet file: doubles, with NaN for what was not measured; integers as nullable 64-bit; text as
 * UTF-8. Units stand in the file's key-value metadata.
 * @example
 * ```ts
 * import { writeParquet } from "nightyield";
 * console.log(writeParquet(table).length, "bytes");
 * ```
 */
export function writeParquet(table: FrameTable): Uint8Array {
  const units = Object.fromEntries(columnNames.map((name) => [name, columnRegistry[name].unit]));
  const columnData = columnNames.map((name) => {
    const values = table[name];
    if (isTextColumn(name))
      return { name, data: [...(values as readonly string[])], type: "STRING" as const, nullable: false };
    if (columnRegistry[name].type === "float")
      return { name, data: Array.from(values as ArrayLike<number>), type: "DOUBLE" as const, nullable: false };
    const data = Array.from(values as ArrayLike<number>, (n) => (Number.isFinite(n) ? BigInt(Math.round(n)) : null));
    return { name, data, type: "INT64" as const, nullable: true };
  });
  const kvMetadata = [{ key: "units", value: JSON.stringify(units) }];
  return new Uint8Array(parquetWriteBuffer({ columnData, kvMetadata }));
}
