import { median } from "../numbers/quantiles.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { SymptomCode } from "../terms/symptoms.js";
import type { Verdict } from "../terms/verdicts.js";
import type { Group } from "./groups.js";

/** A group in numbers. */
export interface GroupSummary {
  readonly target: string;
  readonly filter: string;
  readonly exposureS: number;
  readonly gainSetting: number;
  readonly frames: number;
  readonly count: Readonly<Record<Verdict, number>>;
  /** Exposure of all subs, and of those to stack (keep and borderline). */
  readonly exposureAllS: number;
  readonly exposureKeptS: number;
  /** Effective exposure of those to stack. */
  readonly effectiveKeptS: number;
  readonly medianFwhmPx: number;
  readonly medianFwhmArcsec: number;
  readonly medianStars: number;
  readonly medianBackgroundAdu: number;
  /** How many dropped subs show each symptom, most frequent first. */
  readonly symptomsOfDropped: readonly (readonly [SymptomCode, number])[];
}

/** Counts verdicts and adds up exposures of a group. */
export function summariseGroup(table: FrameTable, group: Group): GroupSummary {
  const count: Record<Verdict, number> = { keep: 0, borderline: 0, drop: 0, unjudged: 0 };
  const symptoms = new Map<SymptomCode, number>();
  let exposureKeptS = 0;
  let effectiveKeptS = 0;
  for (const row of group.rows) {
    const verdict = table.verdict[row] as Verdict;
    count[verdict]++;
    if (verdict === "keep" || verdict === "borderline") {
      exposureKeptS += table.exposureS[row] || 0;
      effectiveKeptS += table.effectiveExposureS[row] || 0;
    }
    if (verdict === "drop")
      for (const code of table.symptoms[row]!.split(";").filter(Boolean) as SymptomCode[])
        symptoms.set(code, (symptoms.get(code) ?? 0) + 1);
  }
  const middle = (column: ArrayLike<number>) => median(group.rows.map((row) => column[row]!));
  return {
    target: group.target,
    filter: group.filter,
    exposureS: group.exposureS,
    gainSetting: group.gainSetting,
    frames: group.rows.length,
    count,
    exposureAllS: group.rows.reduce((sum, row) => sum + (table.exposureS[row] || 0), 0),
    exposureKeptS,
    effectiveKeptS,
    medianFwhmPx: middle(table.fwhmPx),
    medianFwhmArcsec: middle(table.fwhmArcsec),
    medianStars: middle(table.starCount),
    medianBackgroundAdu: middle(table.backgroundAdu),
    symptomsOfDropped: [...symptoms].sort((a, b) => b[1] - a[1]),
  };
}
