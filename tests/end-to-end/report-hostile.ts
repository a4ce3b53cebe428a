import type { NightResult } from "../../src/show/night-result.js";
import { withColumns } from "../../src/terms/frame-table.js";
import { inventedNight } from "./report-night.js";

/** Names that would break a page which trusts them. */
export const hostileNames = [
  "</script><script>window.hit=1</script>.fits",
  `"><img src=x onerror=alert(1)>'.fits`,
  "line\u2028para\u2029<!--<script>.fits",
  "<b>&amp; $& $` $1 %{x}</b>.fits",
] as const;

/** A night whose files, target, filter, notes, symptoms and folder carry such names; the first row is dropped for sure. */
export function hostileNight(): NightResult {
  const night = inventedNight(40);
  const { table } = night;
  const name = (row: number) => hostileNames[row % hostileNames.length]!;
  const unreadable = table.kind.indexOf("unreadable");
  return {
    ...night,
    folders: [`</title><script>window.hit=3</script>`],
    table: withColumns(table, {
      file: table.file.map((_, row) => `${row} ${name(row)}`),
      target: table.target.map(() => hostileNames[0]),
      filter: table.filter.map(() => hostileNames[1]),
      note: table.note.map((_, row) => name(row)),
    }),
    groups: night.groups.map((group) => ({ ...group, target: hostileNames[0], filter: hostileNames[1] })),
    symptomsOfRow: night.symptomsOfRow.map((symptoms, row) =>
      row === unreadable
        ? [{ code: "unreadable", offsetBytes: 0, problem: hostileNames[0], remedy: hostileNames[3] }]
        : symptoms,
    ),
    notes: hostileNames,
    attention: hostileNames,
    version: hostileNames[1],
  };
}
