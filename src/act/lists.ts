import { groupsOf } from "../grade/groups.js";
import type { FrameTable } from "../terms/frame-table.js";

/** The verdicts whose subs are stacked. */
export const kept = (verdict: string): boolean => verdict === "keep" || verdict === "borderline";

/** One path a line; a name that holds a line break cannot be told in such a list. */
const isListable = (path: string) => !/[\r\n]/.test(path);

/** Plain lists for any stacking program. */
export interface Lists {
  /** Paths of the subs to stack, one a line. */
  readonly keep: string;
  /** Paths of the subs to leave out, one a line. */
  readonly drop: string;
  /** Header `path,weight,verdict`, then one line for each light frame; see {@link stackWeights}. */
  readonly weights: string;
  /** Paths that the lists cannot hold because of a line break in the name. */
  readonly leftOut: readonly string[];
}

/**
 * Makes the lists from a graded table.
 * @param paths - absolute path of each row's file
 * @example
 * ```ts
 * import { makeLists, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * const { keep, drop } = makeLists(night.table, night.paths);
 * console.log(keep.split("\n").length, drop.split("\n").length);
 * ```
 */
export function makeLists(table: FrameTable, paths: readonly string[]): Lists {
  const listed = (wanted: (verdict: string) => boolean) =>
    paths
      .filter((path, row) => wanted(table.verdict[row]!) && isListable(path))
      .map((path) => `${path}\n`)
      .join("");
  const weights = stackWeights(table);
  const lines = ["path,weight,verdict"];
  for (let row = 0; row < table.rows; row++)
    if (table.kind[row] === "light" && table.verdict[row] !== "unjudged")
      lines.push(`${csvField(paths[row]!)},${weightField(weights[row]!)},${table.verdict[row]}`);
  return {
    keep: listed(kept),
    drop: listed((verdict) => verdict === "drop"),
    weights: `${lines.join("\n")}\n`,
    leftOut: paths.filter((path, row) => !isListable(path) && table.verdict[row] !== "unjudged"),
  };
}

/**
 * Weights for stacking: inverse variance of the flux-scaled sub, divided by the largest among the kept subs of its group
 * (target, filter, exposure, gain, image size), so that the best kept sub of each group has 1. Dropped subs have 0; a
 * kept sub without a measured weight has NaN. Weights of different groups are not comparable with one another.
 * @example
 * ```ts
 * import { openNight, stackWeights } from "nightyield";
 * console.log(Math.max(...stackWeights((await openNight("nightyield-out/march14")).table).filter(Number.isFinite)));
 * ```
 */
export function stackWeights(table: FrameTable): Float64Array {
  const weights = new Float64Array(table.rows).fill(Number.NaN);
  for (let row = 0; row < table.rows; row++) if (table.verdict[row] === "drop") weights[row] = 0;
  for (const { rows } of groupsOf(table)) {
    const keptRows = rows.filter((row) => kept(table.verdict[row]!));
    let best = 0;
    for (const row of keptRows) if (table.weight[row]! > best) best = table.weight[row]!;
    if (best > 0) for (const row of keptRows) weights[row] = table.weight[row]! / best;
  }
  return weights;
}

/** Five significant digits are far more than a weight is known to. */
const weightField = (weight: number) => (Number.isFinite(weight) ? String(Number(weight.toPrecision(5))) : "");

/** Quoted as RFC 4180 says, where needed. */
const csvField = (text: string) => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
