import { CallError } from "./errors.js";
import type { Unit } from "./units.js";

interface ColumnTerm {
  readonly type: "float" | "integer" | "text";
  readonly unit: Unit;
  readonly description: string;
}
const float = (unit: Unit, description: string) => ({ type: "float", unit, description }) as const;
const integer = (unit: Unit, description: string) => ({ type: "integer", unit, description }) as const;
const text = (description: string) => ({ type: "text", unit: "" as Unit, description }) as const;

/** Every column of the frame table, in order. The names and units are stable: users' notebooks read them. */
export const columnRegistry = {
  file: text("path of the file, relative to the folder that was given"),
  kind: text("light, dark, flat, bias, dark-flat, other or unreadable"),
  target: text("name of the target"),
  filter: text("name of the filter"),
  filterKind: text("broadband, narrowband, dual-band, none or unknown"),
  startUtc: text("start of the exposure, UTC, ISO 8601"),
  exposureS: float("s", "exposure time"),
  gainSetting: float("", "gain setting of the camera"),
  sensorTempC: float("deg_C", "sensor temperature"),
  width: integer("pix", "width of the image"),
  height: integer("pix", "height of the image"),
  bayer: text("colour mosaic of the image as stored, first row first; empty for a mono sensor"),
  pixelScaleArcsec: float("arcsec / pix", "sky angle of one pixel"),
  backgroundAdu: float("adu", "median level of the sky background, pedestal included"),
  noiseAdu: float("adu", "standard deviation of the background, one pixel"),
  backgroundGradient: float("", "range of the background across the frame divided by its noise"),
  starCount: integer("", "number of stars found"),
  fwhmPx: float("pix", "full width at half maximum of the stars, pixel width removed"),
  fwhmArcsec: float("arcsec", "full width at half maximum of the stars, pixel width removed"),
  hfrPx: float("pix", "half-flux radius: radius that encloses half of a star's light"),
  eccentricity: float("", "eccentricity of the stars, sqrt(1 - (b/a)^2)"),
  elongationAngleDeg: float("deg", "direction of elongation, from +x towards +y, 0 to 180"),
  fieldSpread: float("", "largest less smallest FWHM of the 3 x 3 zones, divided by the frame's FWHM"),
  saturatedFraction: float("", "fraction of pixels at the sensor's limit"),
  hotPixels: integer("", "number of hot pixels and cosmic-ray hits"),
  streaks: integer("", "number of streaks across the frame"),
  blockedFraction: float("", "fraction of the frame without stars and sky"),
  transparency: float("", "starlight relative to the clearest subs of the group, extinction removed"),
  transparencyError: float("", "standard error of transparency"),
  shiftXPx: float("pix", "shift of the field against the group's reference sub, along x"),
  shiftYPx: float("pix", "shift of the field against the group's reference sub, along y"),
  rotationDeg: float("deg", "rotation of the field against the group's reference sub"),
  altitudeDeg: float("deg", "altitude of the target at mid-exposure, topocentric, without refraction"),
  azimuthDeg: float("deg", "azimuth of the target at mid-exposure, from north through east"),
  airmass: float("", "airmass (Kasten & Young 1989)"),
  sunAltitudeDeg: float("deg", "altitude of the Sun at mid-exposure, without refraction"),
  moonAltitudeDeg: float("deg", "altitude of the Moon at mid-exposure, topocentric, without refraction"),
  moonSeparationDeg: float("deg", "angle between target and Moon"),
  moonIllumination: float("", "lit fraction of the Moon's disk, 0 to 1"),
  rotationRateDegPerH: float("deg / h", "rate of field rotation of an alt-azimuth mount"),
  rotationBlurPx: float("pix", "blur by field rotation in the corner during the exposure"),
  skyMagArcsec2: float("mag / arcsec2", "modelled brightness of the sky at the target"),
  effectiveExposureS: float("s", "exposure under the group's best conditions that would give the same depth"),
  weight: float("", "inverse-variance weight of the flux-scaled sub, 1 for the group's best"),
  verdict: text("keep, borderline, drop or unjudged"),
  symptoms: text("what is seen in the sub, separated by semicolons"),
  cause: text("what most likely made the symptoms"),
  causeProbability: float("", "probability of that cause"),
  note: text("what else should be known about the row"),
} as const satisfies Record<string, ColumnTerm>;

export type ColumnName = keyof typeof columnRegistry;
type NamesOf<T extends ColumnTerm["type"]> = {
  [K in ColumnName]: (typeof columnRegistry)[K]["type"] extends T ? K : never;
}[ColumnName];
export type TextColumnName = NamesOf<"text">;
export type NumberColumnName = NamesOf<"float" | "integer">;
/** The columns of the frame table, in their order. */
export const columnNames = Object.keys(columnRegistry) as readonly ColumnName[];
export const isTextColumn = (name: ColumnName): name is TextColumnName => columnRegistry[name].type === "text";
export const isColumnName = (name: string): name is ColumnName => Object.hasOwn(columnRegistry, name);

/** One number a row; NaN: not measured, and `note` says why where it matters. Never 0 or -1 for "unknown". */
export type NumberColumn = ArrayLike<number>;
/** One text a row; empty: not known. */
export type TextColumn = readonly string[];
/** The columns alone. */
export type FrameColumns = { readonly [K in NumberColumnName]: NumberColumn } & {
  readonly [K in TextColumnName]: TextColumn;
};
/** One row a file, one column a quantity. Immutable: {@link withColumns} gives a new table. */
export type FrameTable = { readonly rows: number } & FrameColumns;
/** One file's values. */
export type FrameRow = { readonly [K in NumberColumnName]: number } & { readonly [K in TextColumnName]: string };

/**
 * Makes a frame table from the columns at hand; the others are NaN or empty.
 * @param rows - number of rows
 * @throws CallError when a column is unknown or has another length
 * @example
 * ```ts
 * import { frameTable } from "nightyield";
 * const two = frameTable(2, { filter: ["L", "Ha"], exposureS: [30, 60] });
 * console.log(two.exposureS[1], two.fwhmPx[1]); // 60 NaN
 * ```
 */
export function frameTable(rows: number, columns: Partial<FrameColumns> = {}): FrameTable {
  for (const name of Object.keys(columns)) checkColumn(name, columns[name as ColumnName]!.length, rows);
  const all: Record<string, unknown> = { rows };
  const nothing = new Float64Array(rows).fill(Number.NaN);
  const blank: TextColumn = Object.freeze(new Array<string>(rows).fill(""));
  for (const name of columnNames) all[name] = columns[name] ?? (isTextColumn(name) ? blank : nothing);
  return Object.freeze(all) as FrameTable;
}

/**
 * The same table with some columns replaced.
 * @example
 * ```ts
 * import { withColumns } from "nightyield";
 * const renamed = withColumns(table, { target: table.target.map(() => "NGC 6888") });
 * console.log(renamed.target[0]);
 * ```
 */
export function withColumns(table: FrameTable, columns: Partial<FrameColumns>): FrameTable {
  const { rows, ...old } = table;
  return frameTable(rows, { ...old, ...columns });
}

/**
 * The rows with the given numbers, in the given order.
 * @example
 * ```ts
 * import { selectRows } from "nightyield";
 * console.log(selectRows(table, [2, 0]).file);
 * ```
 */
export function selectRows(table: FrameTable, rows: ArrayLike<number>): FrameTable {
  const order = Array.from(rows);
  const columns: Record<string, unknown> = {};
  for (const name of columnNames) {
    const column = table[name];
    columns[name] = isTextColumn(name)
      ? order.map((r) => column[r] as string)
      : Float64Array.from(order, (r) => column[r] as number);
  }
  return frameTable(order.length, columns as Partial<FrameColumns>);
}

/**
 * One row as a plain object.
 * @example
 * ```ts
 * import { frameRow } from "nightyield";
 * const { file, fwhmPx } = frameRow(table, 0);
 * console.log(file, fwhmPx);
 * ```
 */
export function frameRow(table: FrameTable, row: number): FrameRow {
  if (!(row >= 0 && row < table.rows)) throw new CallError(`There is no row ${row}: the table has ${table.rows} rows`);
  return Object.fromEntries(columnNames.map((name) => [name, table[name][row]])) as unknown as FrameRow;
}

/**
 * A table from rows that may lack columns.
 * @example
 * ```ts
 * import { fromRows } from "nightyield";
 * console.log(fromRows([{ filter: "L", exposureS: 30 }, { filter: "Ha" }]).exposureS); // 30, NaN
 * ```
 */
export function fromRows(rows: readonly Partial<FrameRow>[]): FrameTable {
  const columns: Record<string, unknown> = {};
  for (const name of columnNames)
    columns[name] = isTextColumn(name)
      ? rows.map((row) => row[name] ?? "")
      : Float64Array.from(rows, (row) => row[name] ?? Number.NaN);
  return frameTable(rows.length, columns as Partial<FrameColumns>);
}

function checkColumn(name: string, length: number, rows: number): void {
  if (!isColumnName(name)) throw new CallError(`The frame table has no column ${name}`);
  if (length !== rows) throw new CallError(`Column ${name} has ${length} rows, the table has ${rows}`);
}
