import { existsSync, readFileSync } from "node:fs";
import { sharedUrl } from "./shared-data.js";

const folder = new URL("reference/datasets/", sharedUrl);
export const hasDatasets = existsSync(folder);
export const withoutDatasets = hasDatasets ? "" : " (skipped: ../shared/reference/datasets is not beside the project)";

/** A published data set by name, as stored beside the project. */
export const dataset = <T = Record<string, number[]>>(name: string): T =>
  JSON.parse(readFileSync(new URL(`${name}.json`, folder), "utf8"));

/** Holds each value to its expectation relatively, so that small ones count as much as large ones. */
export function furthest(values: ArrayLike<number>, expected: readonly number[]): number {
  if (values.length !== expected.length) return Number.POSITIVE_INFINITY;
  return Math.max(...expected.map((e, i) => Math.abs(values[i] - e) / (e === 0 ? 1 : Math.abs(e))));
}
