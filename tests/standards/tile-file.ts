import { memoryBytes } from "../../src/read/file-bytes.js";
import { readHeader } from "../../src/read/header.js";
import { openTiledImage } from "../../src/read/tiled-image.js";

/** One cell of a tile table: a variable-length array of bytes or 16-bit words, or a number that stands in the row. */
export type Cell = Uint8Array | number;
export interface TileFile {
  readonly cards: Readonly<Record<string, string | number>>;
  /** TFORM by column; P and Q forms take arrays. */
  readonly columns: Readonly<Record<string, string>>;
  readonly rows: readonly Readonly<Record<string, Cell>>[];
  /** Unused bytes between the table and its heap. */
  readonly gapBytes?: number;
}
const plainSizes: Record<string, number> = { J: 4, D: 8, E: 4 };
const cellBytes = (form: string) => (form.includes("Q") ? 16 : form.includes("P") ? 8 : plainSizes[form.slice(-1)]!);

/** Writes the table HDU of a compressed image, byte for byte as sections 7.3 and 10.1 of the standard say. */
export function tileFile({ cards, columns, rows, gapBytes = 0 }: TileFile): Buffer {
  const rowBytes = Object.values(columns).reduce((n, form) => n + cellBytes(form), 0);
  const table = new DataView(new ArrayBuffer(rowBytes * rows.length));
  const heap: number[] = [];
  let at = 0;
  for (const row of rows)
    for (const [name, form] of Object.entries(columns)) {
      const cell = row[name] ?? new Uint8Array(0);
      if (typeof cell === "number") {
        if (form.endsWith("J")) table.setInt32(at, cell);
        else table.setFloat64(at, cell);
      } else {
        const elements = form.includes("I") ? cell.length / 2 : cell.length;
        if (form.includes("Q")) {
          table.setBigInt64(at, BigInt(elements));
          table.setBigInt64(at + 8, BigInt(heap.length));
        } else {
          table.setInt32(at, elements);
          table.setInt32(at + 4, heap.length);
        }
        heap.push(...cell);
      }
      at += cellBytes(form);
    }
  const forms = Object.entries(columns).flatMap(([name, form], i) => [
    [`TTYPE${i + 1}`, `'${name}'`],
    [`TFORM${i + 1}`, `'${form}'`],
  ]);
  const all = {
    XTENSION: "'BINTABLE'",
    BITPIX: 8,
    NAXIS: 2,
    NAXIS1: rowBytes,
    NAXIS2: rows.length,
    PCOUNT: gapBytes + heap.length,
    GCOUNT: 1,
    TFIELDS: Object.keys(columns).length,
    ...(gapBytes > 0 && { THEAP: rowBytes * rows.length + gapBytes }),
    ...Object.fromEntries(forms),
    ZIMAGE: "T",
    ...cards,
  };
  const text = `${Object.entries(all)
    .map(([keyword, value]) => `${keyword.padEnd(8)}= ${String(value).padStart(20)}`.padEnd(80))
    .join("")}END`;
  const header = Buffer.from(text.padEnd(Math.ceil(text.length / 2880) * 2880));
  const data = Buffer.concat([new Uint8Array(table.buffer), new Uint8Array(gapBytes), new Uint8Array(heap)]);
  return Buffer.concat([header, data]);
}

/** Reads all pixels of such a file as doubles. */
export function pixelsOf(bytes: Uint8Array): number[] {
  const source = memoryBytes("tiles.fits", bytes);
  const header = readHeader(source, 0);
  const reader = openTiledImage(source, header, header.lengthBytes);
  const pixels = new Float64Array(reader.width * reader.height * reader.planes);
  reader.readRows(0, reader.height * reader.planes, pixels);
  return [...pixels];
}
