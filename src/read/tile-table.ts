import type { ByteSource } from "./file-bytes.js";
import { slice } from "./file-bytes.js";
import type { Header } from "./header.js";

interface Column {
  readonly name: string;
  /** Byte within a row. */
  readonly at: number;
  /** Letter of the type: of the values, or of the elements of a variable-length array. */
  readonly type: string;
  /** Empty: the value stands in the row. P or Q: a descriptor of 32- or 64-bit numbers. */
  readonly descriptor: "" | "P" | "Q";
  readonly repeat: number;
}

const sizes: Readonly<Record<string, number>> = { L: 1, X: 1, B: 1, I: 2, J: 4, K: 8, A: 1, E: 4, D: 8, C: 8, M: 16 };

/** Bytes of one variable-length array and where they stand in the file. */
export interface Piece {
  readonly bytes: Uint8Array;
  readonly offsetBytes: number;
}

/** The parts of a binary table that compressed images use (FITS Standard 4.0, sections 7.3 and 10.1). */
export class TileTable {
  readonly rows: number;
  readonly header: Header;
  readonly #source: ByteSource;
  readonly #columns = new Map<string, Column>();
  readonly #rowBytes: number;
  readonly #dataOffset: number;
  readonly #heapOffset: number;
  readonly #heapBytes: number;

  /** @throws FitsError when the table is malformed */
  constructor(source: ByteSource, header: Header, dataOffsetBytes: number) {
    this.#source = source;
    this.header = header;
    this.#dataOffset = dataOffsetBytes;
    const most = Number.MAX_SAFE_INTEGER;
    this.#rowBytes = header.integer("NAXIS1", { min: 0, max: most });
    this.rows = header.integer("NAXIS2", { min: 0, max: most });
    const main = this.#rowBytes * this.rows;
    const heapStart = header.integer("THEAP", { min: main, max: most, otherwise: main });
    const pcount = header.integer("PCOUNT", { min: 0, max: most, otherwise: 0 });
    this.#heapOffset = dataOffsetBytes + heapStart;
    this.#heapBytes = Math.max(0, main + pcount - heapStart);
    const fields = header.integer("TFIELDS", { min: 0, max: 999 });
    let at = 0;
    for (let i = 1; i <= fields; i++) {
      const form = /^\s*(\d*)([PQ]?)([LXBIJKAEDCM])/.exec(header.text(`TFORM${i}`) ?? "");
      const card = header.get(`TFORM${i}`);
      if (form === null) throw header.error(card, `TFORM${i} is missing or no known column format`);
      const repeat = form[1] === "" ? 1 : Number(form[1]);
      const descriptor = form[2] as Column["descriptor"];
      const type = form[3]!;
      const name = (header.text(`TTYPE${i}`) ?? "").trim().toUpperCase();
      if (!this.#columns.has(name)) this.#columns.set(name, { name, at, type, descriptor, repeat });
      const bytes = type === "X" && descriptor === "" ? Math.ceil(repeat / 8) : repeat * sizes[type]!;
      at += descriptor === "" ? bytes : repeat * (descriptor === "P" ? 8 : 16);
    }
    if (at > this.#rowBytes)
      throw header.error(header.get("NAXIS1"), `NAXIS1 is ${this.#rowBytes}, but the columns take ${at} bytes`);
  }

  has(name: string): boolean {
    return this.#columns.has(name);
  }

  /** Bytes of rows and heap that the file really has. */
  get dataBytes(): number {
    const declared = this.#heapOffset - this.#dataOffset + this.#heapBytes;
    return Math.max(0, Math.min(declared, this.#source.lengthBytes - this.#dataOffset));
  }

  /** Byte of the file at which a row starts. */
  rowOffsetBytes(row: number): number {
    return this.#dataOffset + row * this.#rowBytes;
  }

  /**
   * A number that stands in a row.
   * @throws FitsError when the column does not hold one
   */
  number(name: string, row: number): number {
    const { at, type, descriptor, repeat } = this.#columns.get(name)!;
    if (descriptor !== "" || repeat < 1) throw this.#noNumber(name, row);
    const cell = this.#cell(row, at, sizes[type]!);
    switch (type) {
      case "B":
        return cell.getUint8(0);
      case "I":
        return cell.getInt16(0);
      case "J":
        return cell.getInt32(0);
      case "K":
        return Number(cell.getBigInt64(0));
      case "E":
        return cell.getFloat32(0);
      case "D":
        return cell.getFloat64(0);
      default:
        throw this.#noNumber(name, row);
    }
  }

  #noNumber(name: string, row: number): Error {
    return this.header.errorAt(this.rowOffsetBytes(row), `the column ${name} of the tile table does not hold a number`);
  }

  /**
   * A variable-length (or fixed) array of a row.
   * @returns null when the column is absent or the array is empty
   * @throws FitsError when its descriptor points outside the heap
   */
  piece(name: string, row: number): Piece | null {
    const column = this.#columns.get(name);
    if (column === undefined) return null;
    const { at, type, descriptor, repeat } = column;
    const cellOffset = this.#dataOffset + row * this.#rowBytes + at;
    if (repeat === 0) return null;
    if (descriptor === "") {
      const bytes = slice(this.#source, cellOffset, repeat * sizes[type]!);
      return { bytes, offsetBytes: cellOffset };
    }
    const cell = this.#cell(row, at, descriptor === "P" ? 8 : 16);
    const elements = descriptor === "P" ? cell.getInt32(0) : Number(cell.getBigInt64(0));
    const start = descriptor === "P" ? cell.getInt32(4) : Number(cell.getBigInt64(8));
    const length = elements * sizes[type]!;
    if (elements === 0) return null;
    if (elements < 0 || start < 0 || start + length > this.#heapBytes)
      throw this.header.errorAt(
        cellOffset,
        `the descriptor of tile ${row + 1} points to ${length} bytes at ${start}, outside the heap of ${this.#heapBytes} bytes`,
      );
    const offsetBytes = this.#heapOffset + start;
    const bytes = slice(this.#source, offsetBytes, length);
    if (bytes.length < length)
      throw this.header.errorAt(offsetBytes, `the file ends within the code of tile ${row + 1}`);
    return { bytes, offsetBytes };
  }

  #cell(row: number, at: number, length: number): DataView {
    const offset = this.#dataOffset + row * this.#rowBytes + at;
    const bytes = slice(this.#source, offset, length);
    if (bytes.length < length)
      throw this.header.errorAt(offset, `the file ends within row ${row + 1} of the tile table`);
    return new DataView(bytes.buffer, bytes.byteOffset, length);
  }
}
