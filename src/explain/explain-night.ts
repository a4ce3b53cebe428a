import type { FrameTable } from "../terms/frame-table.js";
import type { Symptom } from "../terms/symptoms.js";
import { adviceOf } from "./advice.js";
import type { Advice } from "./advice-terms.js";
import { causesOf } from "./causes.js";
import type { CauseOptions, SubCause } from "./causes-terms.js";
import { driversOf } from "./drivers.js";
import type { Drivers } from "./drivers-terms.js";
import { type Episode, episodesOf } from "./episodes.js";
import { type SensorReport, sensorOf } from "./sensor.js";

/** What spoiled a night's subs, and what to change. Words are made in show/. */
export interface Explanation {
  /** By row; null: a plain keep, or not a light frame. */
  readonly causeOfRow: readonly (SubCause | null)[];
  /** In time. */
  readonly episodes: readonly Episode[];
  /** At most five, the largest gain first. */
  readonly advice: readonly Advice[];
  readonly sensor: SensorReport;
  /** What rejects and quality go with over these subs. */
  readonly drivers: Drivers;
}

/**
 * Everything that is said about why: causes, episodes, advice, sensor, drivers.
 * @param table - graded
 * @param symptomsOfRow - as grading gave them; their codes count
 * @returns the explanation, and the table with `cause` and `causeProbability` filled
 * @example
 * ```ts
 * import { explainNight, gradeNight, whyLines } from "nightyield";
 * const graded = gradeNight(measured);
 * const { explanation } = explainNight(graded.table, graded.symptomsOfRow);
 * console.log(whyLines(explanation).join("\n"));
 * ```
 */
export function explainNight(
  table: FrameTable,
  symptomsOfRow: readonly (readonly Pick<Symptom, "code">[])[],
  options: CauseOptions = {},
): { table: FrameTable; explanation: Explanation } {
  const { table: explained, causeOfRow } = causesOf(table, symptomsOfRow, options);
  // Over thousands of subs drivers take long, so they wait until somebody looks at them.
  let drivers: Drivers | undefined;
  return {
    table: explained,
    explanation: {
      causeOfRow,
      episodes: episodesOf(explained, causeOfRow),
      advice: adviceOf(explained, causeOfRow),
      sensor: sensorOf(explained, options),
      get drivers() {
        drivers ??= driversOf(explained);
        return drivers;
      },
    },
  };
}
