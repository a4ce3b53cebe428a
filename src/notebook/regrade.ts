import { applyDecisions, type Decision } from "../act/decisions.js";
import type { SubIdentity } from "../act/sub-identity.js";
import { gradeNight } from "../grade/grade-night.js";
import { type GroupSummary, summariseGroup } from "../grade/group-summary.js";
import { defaultLimits, type Limits } from "../grade/limits.js";
import { type NightRequest, triageNight } from "../night.js";
import type { FrameTable, NumberColumnName, TextColumnName } from "../terms/frame-table.js";
import type { Symptom } from "../terms/symptoms.js";

/** What grading gives, and so what a table can be checked by without the subs. */
export const gradedColumns = ["verdict", "symptoms", "effectiveExposureS", "weight"] as const satisfies readonly (
  | NumberColumnName
  | TextColumnName
)[];

export interface Regraded {
  readonly table: FrameTable;
  readonly groups: readonly GroupSummary[];
}

/**
 * Grades a frame table once more from its measured columns, and lets the user's decisions win as they did before. This
 * is the one place where share and verify touch the pipeline for a table.
 * @param limits - those that the bundle was graded by
 */
export function regrade(
  table: FrameTable,
  decisions: readonly Decision[],
  subs: readonly SubIdentity[],
  limits: Limits = defaultLimits,
): Regraded {
  const given = table.kind.map((kind): Symptom[] =>
    kind === "unreadable" ? [{ code: "unreadable", offsetBytes: 0, problem: "", remedy: "" }] : [],
  );
  const graded = gradeNight(table, { given, limits });
  const decided = applyDecisions(graded.table, subs, decisions);
  return { table: decided.table, groups: graded.groups.map((group) => summariseGroup(graded.table, group)) };
}

/** Measures and grades the subs once more, from their files: the other place. */
export async function remeasure(folders: readonly string[], request: NightRequest): Promise<FrameTable> {
  return (await triageNight(folders, request)).table;
}
