import { measureFrame } from "../measure/measure-frame.js";
import { openFile } from "../read/file-bytes.js";
import { firstImage, openPixels } from "../read/hdu.js";
import { isExplained } from "../terms/errors.js";
import { type FrameTable, frameRow } from "../terms/frame-table.js";
import { type Verdict, verdicts } from "../terms/verdicts.js";
import { SheetMaker, type SheetPicture } from "./contact-sheet.js";
import type { NightResult } from "./night-result.js";
import { causeText } from "./table-html.js";
import { listWords } from "./words.js";

/** How many pictures, and how large. */
export interface ReportPictureOptions {
  /** 12 when left out. */
  readonly most?: number;
  /** Widest that each may be, px; 300 when left out. */
  readonly widthPx?: number;
  /** Most that all together may take, bytes; 1 500 000 when left out. The last ones are left out beyond that. */
  readonly mostBytes?: number;
}

/** Pictures of the subs that a reader wants to see, for {@link reportHtml}. */
export interface ReportPictures {
  readonly pictures: readonly SheetPicture[];
  /** How they were chosen and made. */
  readonly note: string;
}

/**
 * Pictures for the report: of each group a good sub to compare with, the worst subs of every cause, and borderline ones,
 * with their streaks and blocked areas marked. The subs are read once more, and only read; those that are not where they
 * were are named in the note.
 * @example
 * ```ts
 * import { openNight, reportHtml, reportPictures } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * const html = reportHtml(night, { pictures: reportPictures(night) });
 * ```
 */
export function reportPictures(
  night: NightResult & { readonly paths: readonly string[] },
  { most = 12, widthPx = 300, mostBytes = 1_500_000 }: ReportPictureOptions = {},
): ReportPictures {
  const { table, paths, symptomsOfRow } = night;
  const maker = new SheetMaker({ widthPx });
  const missing: string[] = [];
  let added = 0;
  for (const row of picturedRows(table, most)) {
    if (paths[row] === undefined || paths[row] === "") {
      missing.push(table.file[row]!); // a bundle knows no paths
      continue;
    }
    try {
      const source = openFile(paths[row], table.file[row]!);
      try {
        const image = firstImage(source);
        const frame = openPixels(image.source, image.hdu);
        const bayer = table.bayer[row]!;
        const { streaks, blocked } = measureFrame(frame, { bayer });
        maker.add({
          frame,
          file: table.file[row]!,
          verdict: table.verdict[row] as Verdict,
          symptoms: symptomsOfRow[row]!,
          about: [table.startUtc[row]!.slice(0, 16).replace("T", " "), likely(causeText(frameRow(table, row)))]
            .filter(Boolean)
            .join(", "),
          group: [table.target[row], table.filter[row]].filter(Boolean).join(" ") || "subs",
          bayer,
          marks: {
            ...(streaks.list.length > 0 && { streaks: streaks.list }),
            ...(blocked?.covered.includes(1) === true && { blocked }),
          },
        });
        added++;
      } finally {
        source.close();
      }
    } catch (error) {
      // A file that is gone or damaged is no reason to show none of the others.
      if (!isExplained(error)) throw error;
      missing.push(table.file[row]!);
    }
  }
  if (added === 0)
    return { pictures: [], note: missing.length === 0 ? "" : "The subs are not here, so there are no pictures." };
  const { pictures, how } = maker.sheet();
  const within: SheetPicture[] = [];
  let bytes = 0;
  for (const picture of pictures) {
    bytes += picture.png.length;
    if (bytes <= mostBytes) within.push(picture);
  }
  const notRead = missing.length === 0 ? "" : ` Not shown, as they cannot be read: ${listWords(missing)}.`;
  return {
    pictures: within,
    note: `${how} Dashed pairs of lines mark streaks, hatching what is blocked.${notRead}`,
  };
}

/**
 * Rows worth looking at, in the order of the table's groups: of each group the best sub, then in turn the worst of each
 * cause, and the borderline sub that is worth least.
 */
export function picturedRows(table: FrameTable, most: number): number[] {
  const groups = new Map<string, number[]>();
  for (let row = 0; row < table.rows; row++) {
    if (table.kind[row] !== "light" || table.verdict[row] === "unjudged") continue;
    const key = JSON.stringify([table.target[row], table.filter[row], table.exposureS[row]]);
    const rows = groups.get(key);
    if (rows === undefined) groups.set(key, [row]);
    else rows.push(row);
  }
  const queues = [...groups.values()].map((rows) => wanted(table, rows));
  const chosen = queues.map((): number[] => []);
  let left = most;
  for (let turn = 0; left > 0 && queues.some((queue) => queue.length > turn); turn++)
    for (const [g, queue] of queues.entries()) {
      if (left === 0 || queue[turn] === undefined) continue;
      chosen[g]!.push(queue[turn]!);
      left--;
    }
  const order = (row: number) => verdicts.indexOf(table.verdict[row] as Verdict);
  return chosen.flatMap((rows) => rows.sort((a, b) => order(a) - order(b)));
}

/** Rows of a group, those that are to be seen first: worst of the commonest cause, a good one, borderline, other causes. */
function wanted(table: FrameTable, rows: readonly number[]): number[] {
  const worth = (row: number) => (Number.isFinite(table.weight[row]) ? table.weight[row]! : -1);
  const sorted = [...rows].sort((a, b) => worth(a) - worth(b) || a - b);
  const dropped = sorted.filter((row) => table.verdict[row] === "drop");
  const borderline = sorted.filter((row) => table.verdict[row] === "borderline");
  const kept = sorted.filter((row) => table.verdict[row] === "keep");
  const clean = kept.filter((row) => table.symptoms[row] === "");
  const best = (clean.length > 0 ? clean : kept).slice(-1);
  const byCause = new Map<string, number[]>();
  for (const row of dropped) {
    const cause = table.cause[row]!;
    const own = byCause.get(cause);
    if (own === undefined) byCause.set(cause, [row]);
    else own.push(row);
  }
  const causes = [...byCause.values()].sort((a, b) => b.length - a.length);
  const [commonest = [], ...others] = causes;
  if (dropped.length + borderline.length === 0) return [];
  const first = [...commonest.slice(0, 1), ...best, ...borderline.slice(0, 1), ...others.map((own) => own[0]!)];
  const rest = causes.flatMap((own) => own.slice(1, 3));
  return [...new Set([...first, ...rest, ...borderline.slice(1, 3)])];
}

const likely = (cause: string) => (cause === "" ? "" : `most likely ${cause}`);
