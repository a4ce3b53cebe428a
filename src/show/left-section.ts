import { type CalendarOptions, calendarFigure, calendarTable } from "./calendar-chart.js";
import { escapeHtml, proseHtml } from "./html.js";
import type { Left } from "./left.js";
import { calendarWords, leftLines, leftNote, leftTable } from "./left-words.js";
import type { PageChart } from "./page-chart.js";

/** How much is left, as part of the night's story; empty where there is nothing to tell of. */
export function leftSection(left: Left): string {
  const lines = leftLines(left);
  if (lines.length === 0) return "";
  const list = (items: readonly string[]) =>
    items.length === 0 ? "" : `<ul class="told">${items.map((line) => `<li>${proseHtml(line)}</li>`).join("\n")}</ul>`;
  const table =
    left.filters.length === 0
      ? ""
      : `<details><summary>As a table, also for half as deep again</summary>${leftTable(left)}</details>`;
  const note = left.filters.length === 0 ? "" : `<p class="soft">${escapeHtml(leftNote(left))}</p>`;
  return `<section><h2>How much is left</h2><div class="left"><div>${list(lines)}
${table}</div>
<div>${list(left.calendars.map(calendarWords))}
${note}</div></div></section>`;
}

/** The coming nights of each target, as charts. */
export function calendarCharts({ calendars }: Left, options: CalendarOptions = {}): PageChart[] {
  return calendars.flatMap((calendar, i): PageChart[] => {
    const figure = calendarFigure(calendar.plan.windows, options);
    if (figure === null) return [];
    return [
      {
        id: `calendar-${i + 1}`,
        title: `Coming nights of ${calendar.target || "the target"}`,
        about: `The ${calendar.plan.windows.length} nights after the last sub, for planning the next ones. Check a window on the spot, and never point a telescope near the Sun.`,
        figure,
        table: calendarTable(calendar.plan.windows, options),
      },
    ];
  });
}
