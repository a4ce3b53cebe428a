// astropy opens our ECSV unchanged and its table equals ours; hyparquet reads our Parquet back.
import { execFileSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { parquetReadObjects } from "hyparquet";
import { afterAll, describe, expect, it } from "vitest";
import { readEcsv, writeEcsv } from "../../src/terms/ecsv.js";
import { columnNames, columnRegistry, type FrameTable, frameRow, fromRows } from "../../src/terms/frame-table.js";
import { writeParquet } from "../../src/terms/parquet.js";
import { hasPython, python, withoutPython } from "./python.js";

const table: FrameTable = fromRows([
  {
    file: 'a b/sub, "one".fits',
    kind: "light",
    target: "NGC 7000",
    fwhmPx: 1 / 3,
    starCount: 81,
    exposureS: 300,
    verdict: "keep",
  },
  {
    file: "übung\n2.fits",
    kind: "unreadable",
    note: "byte 80: BITPIX is 15",
    starCount: Number.NaN,
    sensorTempC: -1e-9,
  },
  { file: "3.fits", symptoms: "few-stars;wide-stars", rotationDeg: 179.99999999999997, hotPixels: 0, weight: 1e300 },
]);
const folder = mkdtempSync(join(tmpdir(), "nightyield-ecsv-"));
afterAll(() => rmSync(folder, { recursive: true }));
const plain = (t: FrameTable) => Array.from({ length: t.rows }, (_, row) => frameRow(t, row));

describe.skipIf(!hasPython("astropy"))(`astropy${hasPython("astropy") ? "" : ` (${withoutPython("astropy")})`}`, () => {
  it("reads the same names, units, descriptions and values", () => {
    const path = join(folder, "frames.ecsv");
    writeFileSync(path, writeEcsv(table));
    const script = `
import sys, json, math, numpy
from astropy.table import Table
t = Table.read(sys.argv[1], format='ascii.ecsv')
def plain(v):
    if v is numpy.ma.masked: return None
    if isinstance(v, (numpy.floating, float)): return None if math.isnan(v) else float(v)
    return int(v) if isinstance(v, numpy.integer) else str(v)
print(json.dumps([[c, str(t[c].unit or ''), t[c].description, t[c].dtype.kind, [plain(v) for v in t[c]]] for c in t.colnames]))`;
    const columns = JSON.parse(execFileSync(python, ["-W", "error", "-c", script, path], { encoding: "utf8" })) as [
      string,
      string,
      string,
      string,
      unknown[],
    ][];
    expect(columns.map(([name]) => name)).toEqual(columnNames);
    for (const [name, unit, description, kind, values] of columns) {
      const term = columnRegistry[name as (typeof columnNames)[number]];
      expect(unit, name).toBe(term.unit);
      expect(description).toBe(term.description);
      expect(kind).toBe({ text: "U", integer: "i", float: "f" }[term.type]);
      // astropy masks an empty text.
      expect(term.type === "text" ? values.map((v) => v ?? "") : values).toEqual(
        Array.from(table[name as "file"], (v: unknown) => (Number.isNaN(v) ? null : v)),
      );
    }
  });
});

it("ECSV reads back equal", () => {
  expect(plain(readEcsv(writeEcsv(table), "frames.ecsv"))).toEqual(plain(table));
});

it("Parquet reads back equal in hyparquet", async () => {
  const path = join(folder, "frames.parquet");
  writeFileSync(path, writeParquet(table));
  const bytes = readFileSync(path);
  const rows = await parquetReadObjects({
    file: bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength),
  });
  const back = rows.map((row) =>
    Object.fromEntries(Object.entries(row).map(([k, v]) => [k, typeof v === "bigint" ? Number(v) : (v ?? Number.NaN)])),
  );
  expect(back).toEqual(plain(table));
});
