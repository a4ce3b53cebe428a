import type { NightResult } from "./night-result.js";
import { sentence } from "./night-summary.js";
import { headline, storyParagraphs } from "./story.js";
import { groupRows } from "./table-html.js";

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
  if (night.attention.length > 0)
    parts.push(
      `**Needs attention**\n\n${night.attention.map((item) => `- ${markdownText(sentence(item))}`).join("\n")}`,
    );
  if (rows.length > 0) parts.push([line(head), `|${" --- |".repeat(head.length)}`, ...rows.map(line)].join("\n"));
  return `${parts.join("\n\n")}\n`;
}

/** Text that means nothing but itself in Markdown, on one line. */
const markdownText = (text: string) =>
  text.replace(/[\r\n\u2028\u2029]+/g, " ").replace(/[\\`*_[\]<>|#&~$]/g, (c) => `\\${c}`);
