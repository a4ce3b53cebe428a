import { agrees, type Difference } from "./compare-tables.js";
import { type Cell, isObject, type Notebook } from "./notebook-shape.js";

export type Compared = { readonly differences: readonly Difference[]; readonly compared: number };

const number = /-?\d+(?:\.\d+)?(?:e[+-]?\d+)?/gi;

/** Compares two JSON values; numbers, also those inside texts, within the tolerances. */
export function compareJson(
  bundled: unknown,
  found: unknown,
  place: { readonly where: string; readonly row: string },
): Compared {
  const differences: Difference[] = [];
  let compared = 0;
  const walk = (a: unknown, b: unknown, column: string): void => {
    if (Array.isArray(a) && Array.isArray(b)) {
      for (let i = 0; i < Math.max(a.length, b.length); i++) walk(a[i], b[i], `${column}[${i}]`);
      return;
    }
    if (isObject(a) && isObject(b)) {
      for (const key of new Set([...Object.keys(a), ...Object.keys(b)]))
        walk(a[key], b[key], column === "" ? key : `${column}.${key}`);
      return;
    }
    compared++;
    if (same(a, b)) return;
    differences.push({ ...place, column: column || "value", ...apart(a, b) });
  };
  walk(bundled, found, "");
  return { differences, compared };
}

function same(a: unknown, b: unknown): boolean {
  if (typeof a === "number" && typeof b === "number") return agrees(a, b);
  if (typeof a !== "string" || typeof b !== "string") return a === b;
  if (a === b) return true;
  const [left, right] = [a.match(number) ?? [], b.match(number) ?? []];
  return (
    left.length === right.length &&
    a.replace(number, "#") === b.replace(number, "#") &&
    left.every((value, i) => agrees(Number(value), Number(right[i])))
  );
}

/** Both values in short; of long texts the first line that differs. */
function apart(a: unknown, b: unknown): { bundled: string; found: string } {
  const short = (value: unknown) => {
    const text = typeof value === "string" ? value : value === undefined ? "nothing" : JSON.stringify(value);
    return text.length > 120 ? `${text.slice(0, 119)}\u2026` : text;
  };
  if (typeof a !== "string" || typeof b !== "string") return { bundled: short(a), found: short(b) };
  const [left, right] = [a.split("\n"), b.split("\n")];
  const at = left.findIndex((line, i) => !same(line, right[i] ?? ""));
  const line = at < 0 ? left.length : at;
  return { bundled: short(left[line] ?? "(end)"), found: short(right[line] ?? "(end)") };
}

/** Compares the outputs of two runs of a notebook, cell by cell. Counters and ids say nothing about results. */
export function compareNotebooks(bundled: Notebook, found: Notebook, where: string): Compared {
  const outputsOf = (cell: Cell | undefined) =>
    cell?.cell_type === "code" ? cell.outputs.map((output) => ({ ...output, execution_count: null })) : [];
  const other = new Map(found.cells.map((cell) => [cell.id, cell]));
  const all = bundled.cells.map((cell, index) =>
    compareJson(outputsOf(cell), outputsOf(other.get(cell.id)), { where, row: `cell ${index + 1} (id ${cell.id})` }),
  );
  return {
    differences: all.flatMap(({ differences }) => differences),
    compared: all.reduce((sum, { compared }) => sum + compared, 0),
  };
}
