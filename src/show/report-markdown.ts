import type { NightResult } from "./night-result.js";
import { headline, storyParagraphs } from "./story.js";
import { groupRows } from "./table-html.js";
import { nextTimeLines, whyLines } from "./why.js";
import { sentence } from "./words.js";

/** The night's story and its groups as Markdown (CommonMark with pipe tables), for notebooks and logs. */
export function nightMarkdown(night: NightResult): string {
  const { head, rows } = groupRows(night);
  const line = (cells: readonly string[]) => `| ${cells.map(markdownText).join(" | ")} |`;
  const parts = [
    `# ${markdownText(night.folders.join(", "))}`,
    `**${markdownText(headline(night))}**`,
    ...storyParagraphs(night).map((sentences) => markdownText(sentences.join(" "))),
    ...night.notes.map((note) => markdownText(sentence(note))),
  ];
  const list = (title: string, lines: readonly string[]) => {
    if (lines.length > 0) parts.push(`**${title}**\n\n${lines.map((line) => `- ${markdownText(line)}`).join("\n")}`);
  };
  list("What spoiled the subs", whyLines(night.explanation));
  list("Next time", nextTimeLines(night.explanation));
  list("Needs attention", night.attention.map(sentence));
  if (rows.length > 0) parts.push([line(head), `|${" --- |".repeat(head.length)}`, ...rows.map(line)].join("\n"));
  return `${parts.join("\n\n")}\n`;
}

/** Text that means nothing but itself in Markdown, on one line. */
const markdownText = (text: string) =>
  text.replace(/[\r\n\u2028\u2029]+/g, " ").replace(/[\\`*_[\]<>|#&~$]/g, (c) => `\\${c}`);
