import { purposeOf } from "../grade/purposes.js";
import type { NightResult } from "./night-result.js";
import { headline, storyOf } from "./story.js";
import { nextTimeLines, whyLines } from "./why.js";
import { purposeWords, sentence } from "./words.js";

/**
 * The night's story as plain lines for a terminal.
 * @example
 * ```ts
 * import { nightSummary, openNight } from "nightyield";
 * console.log(nightSummary(await openNight("nightyield-out/march14")).join("\n"));
 * ```
 */
export function nightSummary(night: NightResult): string[] {
  return [
    `${night.folders.length > 1 ? "Folders" : "Folder"}: ${night.folders.join(", ")}`,
    `  ${headline(night)}`,
    ...storyOf(night).map((line) => `  ${line}`),
    ...(purposeOf(night.limits) === "balanced" ? [] : [`  ${purposeWords(night.limits)}`]),
    ...section("What spoiled the subs:", whyLines(night.explanation)),
    ...section("Next time:", nextTimeLines(night.explanation)),
    ...night.notes.map((note) => `  ${sentence(note)}`),
  ];
}

const section = (title: string, lines: readonly string[]) =>
  lines.length === 0 ? [] : [`  ${title}`, ...lines.map((line) => `    ${line}`)];
