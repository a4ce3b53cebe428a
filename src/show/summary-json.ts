import { frameRow } from "../terms/frame-table.js";
import type { NightResult } from "./night-result.js";
import { headline, storyOf } from "./story.js";
import { nextTimeLines, whyLines } from "./why.js";
import { reasonWords } from "./words.js";

/**
 * The night for programs: groups, each sub's verdict with the numbers of its reasons, the observer's place, and in
 * `setups`, group by group, what is known of the camera and where the target is. NaN becomes null.
 * @example
 * ```ts
 * import { openNight, summaryJson } from "nightyield";
 * console.log(summaryJson(await openNight("nightyield-out/march14")).length);
 * ```
 */
export function summaryJson(night: NightResult): string {
  const { table } = night;
  const subs = Array.from({ length: table.rows }, (_, row) => {
    const { file, kind, target, filter, verdict, weight, effectiveExposureS, cause, causeProbability, note } = frameRow(
      table,
      row,
    );
    const symptoms = night.symptomsOfRow[row]!.map((symptom) => ({ ...symptom, words: reasonWords(symptom) }));
    return { file, kind, target, filter, verdict, weight, effectiveExposureS, symptoms, cause, causeProbability, note };
  });
  const { folders, groups, notes, attention, version, explanation, limits, site, setups = [] } = night;
  const summary = {
    nightyield: version,
    folders,
    headline: headline(night),
    story: storyOf(night),
    why: whyLines(explanation),
    nextTime: nextTimeLines(explanation),
    groups,
    limits,
    site: site === null ? null : { ...site, heightM: site.heightM ?? 0 },
    setups,
    episodes: explanation.episodes.map(({ rows, ...episode }) => ({
      ...episode,
      files: rows.map((row) => table.file[row]),
    })),
    advice: explanation.advice,
    notes,
    attention,
    subs,
  };
  return `${JSON.stringify(summary, null, 1)}\n`;
}
