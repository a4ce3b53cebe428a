import type { GroupSummary } from "../grade/group-summary.js";
import { causeRegistry, isCauseCode } from "../terms/causes.js";
import { type FrameRow, frameRow } from "../terms/frame-table.js";
import type { Verdict } from "../terms/verdicts.js";
import { escapeHtml, tableHtml } from "./html.js";
import type { NightResult } from "./night-result.js";
import { groupName } from "./story.js";
import { verdictLooks } from "./verdict-look.js";
import { durationWords, numberWords, percentWords, reasonText } from "./words.js";

/** Rows that stand in the page from the start; the others wait as data until they are asked for. */
export const firstRows = 200;

interface ShownColumn {
  readonly head: string;
  /** Decimals of a number; null for text. */
  readonly digits: number | null;
  readonly value: (row: FrameRow, reasons: string) => number | string;
  /** Holds sentences, so lines may break. */
  readonly wide?: true;
  /** Left out on paper, which is narrow. */
  readonly aside?: true;
  /** Breaks lines on paper. */
  readonly wraps?: true;
}
const number = (head: string, digits: number, value: (row: FrameRow) => number): ShownColumn => ({
  head,
  digits,
  value,
});

/** The same column, left out on paper. */
const aside = (column: ShownColumn): ShownColumn => ({ ...column, aside: true });

const shown: readonly ShownColumn[] = [
  { head: "File", digits: null, value: ({ file }) => file },
  {
    head: "Verdict",
    digits: null,
    value: ({ kind, verdict }) =>
      kind === "light" ? `${verdictLooks[verdict as Verdict]?.sign ?? ""} ${verdict}`.trim() : kind,
  },
  { head: "Reasons", digits: null, value: (_, reasons) => reasons, wide: true },
  { head: "Likely cause", digits: null, value: causeText, wraps: true },
  { head: "Start, UTC", digits: null, value: ({ startUtc }) => startUtc.slice(0, 19).replace("T", " ") },
  aside({ head: "Target", digits: null, value: ({ target }) => target }),
  { head: "Filter", digits: null, value: ({ filter }) => filter },
  aside(number("Exposure, s", 1, (row) => row.exposureS)),
  number("Stars", 0, (row) => row.starCount),
  number("FWHM, px", 2, (row) => row.fwhmPx),
  aside(number("HFR, px", 2, (row) => row.hfrPx)),
  aside(number("Eccentricity", 2, (row) => row.eccentricity)),
  number("Background, ADU", 0, (row) => row.backgroundAdu),
  aside(number("Noise, ADU", 1, (row) => row.noiseAdu)),
  // A tenth of a degree is enough to judge by, and too little to find the garden with.
  number("Altitude, \u00b0", 1, (row) => row.altitudeDeg),
  aside(number("Moon, \u00b0 away", 0, (row) => row.moonSeparationDeg)),
  aside(number("Sensor, \u00b0C", 1, (row) => row.sensorTempC)),
  aside(number("Worth, s", 1, (row) => row.effectiveExposureS)),
  aside({ head: "Notes", digits: null, value: ({ note, kind }) => (kind === "unreadable" ? "" : note), wide: true }),
];

/** "cloud, 95 %". */
export function causeText({ cause, causeProbability }: FrameRow): string {
  if (cause === "") return "";
  const name = isCauseCode(cause) ? causeRegistry[cause].short : cause;
  return Number.isFinite(causeProbability) ? `${name}, ${percentWords(causeProbability)}` : name;
}

type Cell = string | number | null;
/** A column's cells. Texts that repeat are given once, and their numbers in the list. */
export type PackedColumn = readonly Cell[] | { readonly texts: readonly string[]; readonly index: readonly number[] };

/** The table of subs as data for the page's script. Numbers are rounded to what is shown; null: not measured. */
export interface SubsData {
  readonly columns: readonly {
    readonly digits: number | null;
    readonly className: string;
    readonly cells: PackedColumn;
  }[];
  readonly verdicts: PackedColumn;
}

/** Headings and cells of the columns that are not empty. */
export interface Subs {
  readonly heads: readonly string[];
  readonly digits: readonly (number | null)[];
  readonly classNames: readonly string[];
  readonly verdicts: readonly string[];
  /** One list a column. */
  readonly cells: readonly (readonly Cell[])[];
}

/** What the table of subs says, column by column; columns that nothing fills are left out. */
export function subsOf({ table, symptomsOfRow }: NightResult): Subs {
  const cells = shown.map((): Cell[] => []);
  for (let i = 0; i < table.rows; i++) {
    const row = frameRow(table, i);
    const reasons = symptomsOfRow[i]!.map(reasonText).join("; ");
    for (const [c, { digits, value }] of shown.entries()) cells[c]!.push(rounded(value(row, reasons), digits));
  }
  const used = shown.flatMap((_, c) => (cells[c]!.some((cell) => cell !== null && cell !== "") ? [c] : []));
  return {
    heads: used.map((c) => shown[c]!.head),
    digits: used.map((c) => shown[c]!.digits),
    classNames: used.map((c) => classOf(shown[c]!)),
    verdicts: table.verdict,
    cells: used.map((c) => cells[c]!),
  };
}

/** The same, packed for the page. */
export function subsData({ digits, classNames, verdicts, cells }: Subs): SubsData {
  return {
    columns: cells.map((column, c) => ({ digits: digits[c]!, className: classNames[c]!, cells: packed(column) })),
    verdicts: packed(verdicts),
  };
}

function packed(cells: readonly Cell[]): PackedColumn {
  const index = new Map<string, number>();
  for (const cell of cells) {
    if (typeof cell !== "string") return cells;
    if (!index.has(cell)) index.set(cell, index.size);
  }
  return index.size * 2 > cells.length
    ? cells
    : { texts: [...index.keys()], index: cells.map((cell) => index.get(cell as string)!) };
}

/** The table of subs with its first rows; the page's script adds the rest from {@link subsData}, sorts and filters. */
export function subsTable({ heads, digits, classNames, verdicts, cells }: Subs): string {
  const attribute = (c: number) => (classNames[c] === "" ? "" : ` class="${classNames[c]}"`);
  const line = (verdict: string, i: number) =>
    `<tr class="${escapeHtml(verdict)}">${cells.map((column, c) => `<td${attribute(c)}>${escapeHtml(cellWords(column[i]!, digits[c]!))}</td>`).join("")}</tr>`;
  return `<div class="scroll tall" tabindex="0" role="region" aria-label="Every file"><table id="subs-table"><caption>Every file, its verdict and its numbers; \u2013 means not measured</caption><thead><tr>${heads
    .map(
      (head, c) =>
        `<th scope="col" aria-sort="none"${attribute(c)}><button type="button">${escapeHtml(head)}</button></th>`,
    )
    .join("")}</tr></thead><tbody>${verdicts.slice(0, firstRows).map(line).join("\n")}</tbody></table></div>`;
}

const classOf = ({ digits, wide, aside, wraps }: ShownColumn) =>
  [digits !== null && "number", wide && "wide", aside && "aside", wraps && "wraps"].filter(Boolean).join(" ");
const cellWords = (cell: Cell, digits: number | null) =>
  cell === null ? "\u2013" : typeof cell === "number" ? cell.toFixed(digits ?? 0) : cell;

function rounded(value: string | number, digits: number | null): Cell {
  if (typeof value === "string") return value;
  return Number.isFinite(value) ? Number(value.toFixed(digits ?? 0)) : null;
}

/** One line a group: what was taken, what stays, what it is worth. */
export function groupsTable(night: NightResult): string {
  const { head, rows } = groupRows(night);
  return tableHtml("Keep and borderline subs count as stacked", head, rows);
}

/** The same as cells. */
export function groupRows({ groups }: NightResult): { readonly head: string[]; readonly rows: string[][] } {
  const unjudged = groups.some(({ count }) => count.unjudged > 0);
  return {
    head: [
      "Group",
      "Subs",
      "Keep",
      "Borderline",
      "Drop",
      ...(unjudged ? ["Unjudged"] : []),
      "Stacked",
      "Worth",
      "FWHM",
      "Stars",
      "Background, ADU",
    ],
    rows: groups.map((group) => [
      groupName(group),
      String(group.frames),
      String(group.count.keep),
      String(group.count.borderline),
      String(group.count.drop),
      ...(unjudged ? [String(group.count.unjudged)] : []),
      `${durationWords(group.exposureKeptS)} of ${durationWords(group.exposureAllS)}`,
      worth(group),
      `${numberWords(group.medianFwhmPx)} px${Number.isFinite(group.medianFwhmArcsec) ? ` (${numberWords(group.medianFwhmArcsec)}\u2033)` : ""}`,
      numberWords(Math.round(group.medianStars)),
      numberWords(Math.round(group.medianBackgroundAdu)),
    ]),
  };
}

const worth = ({ effectiveKeptS, exposureKeptS }: GroupSummary) =>
  exposureKeptS > 0 ? `${durationWords(effectiveKeptS)} (${percentWords(effectiveKeptS / exposureKeptS)})` : "\u2013";
