import type { Explanation } from "../explain/explain-night.js";
import type { Frontier } from "../grade/frontier.js";
import type { GroupSummary } from "../grade/group-summary.js";
import type { Limits } from "../grade/limits.js";
import type { GroupSetup } from "../plan/group-setup.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { Symptom } from "../terms/symptoms.js";

/** A graded night, as the report, the summary and the terminal show it. */
export interface NightResult {
  /** Names of the folders, without the way to them. */
  readonly folders: readonly string[];
  readonly table: FrameTable;
  /** Symptoms with their numbers, by row. */
  readonly symptomsOfRow: readonly (readonly Symptom[])[];
  readonly groups: readonly GroupSummary[];
  /** What other cuts would gain and lose, by group; null: nothing of the group is kept. */
  readonly frontiers: readonly (Frontier | null)[];
  readonly explanation: Explanation;
  /** What the verdicts were worked out by. */
  readonly limits: Limits;
  /** What the user should know. */
  readonly notes: readonly string[];
  /** What needs the user's attention. */
  readonly attention: readonly string[];
  readonly site: { readonly latitudeDeg: number; readonly longitudeDeg: number; readonly heightM?: number } | null;
  /** Camera and target of each group; left out: not known. */
  readonly setups?: readonly GroupSetup[];
  /** Version of nightyield. */
  readonly version: string;
}
