import { type Verdict, verdicts } from "../terms/verdicts.js";
import { chartRows } from "./chart-rows.js";
import type { NightResult } from "./night-result.js";
import { verdictLooks } from "./verdict-look.js";

const [width, laneHeight, most] = [1000, 16, 500];

/**
 * The night at a glance: every sub a stroke from left to right in time, on the line of its verdict. Needs no script and
 * prints in grey, because the line says what the colour says.
 */
export function ribbonSvg({ table }: NightResult): string {
  const { rows } = chartRows(table);
  const used = verdicts.filter((verdict) => rows.some((row) => table.verdict[row] === verdict));
  if (rows.length === 0 || used.length === 0) return "";
  const columns = Math.min(rows.length, most);
  const step = width / columns;
  const strokes = used.map((verdict, lane) => {
    // Many subs share a column on a long night; the stroke's height is their share.
    const share = new Float64Array(columns);
    const all = new Float64Array(columns);
    rows.forEach((row, i) => {
      const column = Math.floor((i * columns) / rows.length);
      all[column]!++;
      if (table.verdict[row] === verdict) share[column]!++;
    });
    let path = "";
    share.forEach((n, column) => {
      const height = (laneHeight - 4) * Math.sqrt(n / all[column]!);
      const bottom = (lane + 1) * laneHeight - 2;
      if (n > 0)
        path += `M${(column * step).toFixed(1)} ${bottom}v${(-height).toFixed(1)}h${(step * 0.82).toFixed(2)}v${height.toFixed(1)}z`;
    });
    return `<path class="fill-${verdict}" d="${path}"/>`;
  });
  const count = (verdict: Verdict) => rows.filter((row) => table.verdict[row] === verdict).length;
  const words = used.map((verdict) => `${count(verdict)} ${verdict}`).join(", ");
  return `<figure class="ribbon"><div class="ribbon-names">${used
    .map((verdict) => `<span class="${verdict}">${verdictLooks[verdict].sign} ${count(verdict)} ${verdict}</span>`)
    .join("")}</div><svg role="img" aria-label="Each sub in time: ${words}" viewBox="0 0 ${width} ${
    laneHeight * used.length
  }" preserveAspectRatio="none" style="height:${1.6 * used.length}rem">${strokes.join("")}</svg></figure>`;
}
