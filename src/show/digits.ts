/** A number with so many significant digits and no needless zeros; "-" for one that is not known. */
export function digits(value: number, significant = 3): string {
  if (Number.isNaN(value)) return "-";
  if (!Number.isFinite(value)) return "without end";
  const rounded = Number(value.toPrecision(significant));
  return Math.abs(rounded) >= 1e5 ? rounded.toFixed(0) : String(rounded);
}

/** Bytes as people read them. */
export function bytesText(bytes: number): string {
  if (!Number.isFinite(bytes)) return digits(bytes);
  return bytes >= 1e9 ? `${digits(bytes / 1e9)} GB` : `${digits(bytes / 1e6)} MB`;
}

/** Columns side by side: the first to the left, the others to the right. */
export function columnsText(rows: readonly (readonly string[])[]): string[] {
  const widths = rows[0].map((_, i) => Math.max(...rows.map((row) => row[i].length)));
  return rows.map((row) =>
    row
      .map((cell, i) => (i === 0 ? cell.padEnd(widths[i]) : cell.padStart(widths[i])))
      .join("   ")
      .trimEnd(),
  );
}
