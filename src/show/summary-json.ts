import { frameRow } from "../terms/frame-table.js";
import type { NightResult } from "./night-result.js";
import { headline, storyOf } from "./story.js";
import { reasonWords } from "./words.js";

/** The night for programs: groups, and each sub's verdict with the numbers of its reasons. NaN becomes null. */
export function summaryJson(night: NightResult): string {
  const { table } = night;
  const subs = Array.from({ length: table.rows }, (_, row) => {
    const { file, kind, target, filter, verdict, weight, effectiveExposureS, note } = frameRow(table, row);
    const symptoms = night.symptomsOfRow[row]!.map((symptom) => ({ ...symptom, words: reasonWords(symptom) }));
    return { file, kind, target, filter, verdict, weight, effectiveExposureS, symptoms, note };
  });
  const { folders, groups, notes, attention, version } = night;
  return `${JSON.stringify({ nightyield: version, folders, headline: headline(night), story: storyOf(night), groups, notes, attention, subs }, null, 1)}\n`;
}
