import type { Cut, Frontier, StackOutcome } from "../grade/frontier.js";
import type { GroupSummary } from "../grade/group-summary.js";
import { frontierFigure, frontierTable } from "./frontier-chart.js";
import type { NightResult } from "./night-result.js";
import type { PageChart } from "./page-chart.js";
import { groupName } from "./story.js";
import { countWords, numberWords } from "./words.js";

/** Groups with the most kept exposure; a page with dozens of these charts would not be read. */
const mostGroups = 6;
/** Changes of the depth below this are not worth a word, %. */
const smallPercent = 0.5;

/** What the stack of each group gains or loses at other cuts; empty where a group has too few subs to cut. */
export function frontierCharts({ groups, frontiers }: NightResult): PageChart[] {
  const all = groups.flatMap((group, i): { group: GroupSummary; frontier: Frontier }[] => {
    const frontier = frontiers[i] ?? null;
    return frontier === null ? [] : [{ group, frontier }];
  });
  const largest = new Set([...all].sort((a, b) => b.group.exposureKeptS - a.group.exposureKeptS).slice(0, mostGroups));
  return all
    .filter((one) => largest.has(one))
    .flatMap(({ group, frontier }, i): PageChart[] => {
      const figure = frontierFigure(frontier);
      if (figure === null) return [];
      return [
        {
          id: `cuts-${i + 1}`,
          title: groupName(group),
          about: frontierWords(frontier),
          figure,
          table: frontierTable(frontier),
        },
      ];
    });
}

/** What all subs, and what only the better half of those kept, would make of the stack. */
export function frontierWords({ kept, all, cuts }: Frontier): string {
  const lines: string[] = [];
  if (all.subs > kept.subs) lines.push(`${outcomeWords(`All ${countWords(all.subs, "sub")}`, all, kept)}.`);
  const half = nearest(cuts, kept.subs / 2);
  if (half !== null) lines.push(`${outcomeWords(`Only the best ${half.subs}`, half, kept)}.`);
  return lines.join(" ");
}

function nearest(cuts: readonly Cut[], subs: number): Cut | null {
  const smaller = cuts.filter((cut) => cut.subs >= 1 && cut.subs < 0.8 * 2 * subs && Number.isFinite(cut.depth));
  if (smaller.length === 0) return null;
  return smaller.reduce((best, cut) => (Math.abs(cut.subs - subs) < Math.abs(best.subs - subs) ? cut : best));
}

/** "All 63 subs instead of the 35 as judged: 12 % less deep, stars 0.31 px wider". */
function outcomeWords(name: string, outcome: StackOutcome, kept: StackOutcome): string {
  const percent = 100 * (outcome.depth - 1);
  const depth =
    Math.abs(percent) < smallPercent
      ? "as deep"
      : `${Math.abs(percent).toFixed(Math.abs(percent) < 10 ? 1 : 0)} % ${percent < 0 ? "less deep" : "deeper"}`;
  const wider = outcome.fwhmPx - kept.fwhmPx;
  const width = !Number.isFinite(wider)
    ? ""
    : Math.abs(wider) < 0.005
      ? ", stars as wide"
      : `, stars ${numberWords(Math.abs(wider))} px ${wider < 0 ? "sharper" : "wider"}`;
  return `${name} instead of the ${kept.subs} as judged: ${depth}${width}`;
}
