import type { NightResult } from "./night-result.js";
import { headline, storyOf } from "./story.js";

/** The night's story as plain lines for a terminal. */
export function nightSummary(night: NightResult): string[] {
  return [
    `Night: ${night.folders.join(", ")}`,
    `  ${headline(night)}`,
    ...storyOf(night).map((line) => `  ${line}`),
    ...night.notes.map((note) => `  ${sentence(note)}`),
  ];
}

/** A note as a sentence of its own. */
export const sentence = (note: string): string => `${note.charAt(0).toUpperCase()}${sentenceEnd(note.slice(1))}`;

/** The same text with a full stop, unless it has one. */
export const sentenceEnd = (text: string): string => `${text}${/[.!?]$/.test(text) ? "" : "."}`;
