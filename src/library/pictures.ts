import { openFile } from "../read/file-bytes.js";
import { firstImage, openPixels } from "../read/hdu.js";
import { type ContactSheet, SheetMaker, type SheetOptions } from "../show/contact-sheet.js";
import type { NightResult } from "../show/night-result.js";
import { displayed } from "../show/notebook-display.js";
import { isExplained } from "../terms/errors.js";
import type { Verdict } from "../terms/verdicts.js";
import { printed } from "./printed.js";

/**
 * Small pictures of some subs of a night, with verdict and reasons under each: averaged, with one stretch for all of a
 * filter, and nothing denoised, sharpened, removed or recoloured. Subs that are not where they were are named, and left
 * out.
 * @param night - by {@link triageNight} or {@link openNight}
 * @param rows - numbers of the rows to show
 * @param options - width of a picture, and whether subs of a filter share a stretch
 * @example
 * ```ts
 * import { openNight, picturesOf } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * const dropped = night.table.verdict.flatMap((verdict, row) => (verdict === "drop" ? [row] : []));
 * picturesOf(night, dropped.slice(0, 6));
 * ```
 */
export function picturesOf(
  night: NightResult & { readonly paths: readonly string[] },
  rows: readonly number[],
  options: SheetOptions = {},
): ContactSheet {
  const { table, paths, symptomsOfRow } = night;
  const maker = new SheetMaker(options);
  const missing: string[] = [];
  for (const row of rows) {
    if (paths[row] === "") {
      missing.push(table.file[row]); // a bundle knows no paths
      continue;
    }
    try {
      const source = openFile(paths[row], table.file[row]);
      try {
        const image = firstImage(source);
        maker.add({
          frame: openPixels(image.source, image.hdu),
          file: table.file[row],
          verdict: table.verdict[row] as Verdict,
          symptoms: symptomsOfRow[row],
          about: table.startUtc[row].slice(0, 16).replace("T", " "),
          group: [table.target[row], table.filter[row], table.exposureS[row]].join(" "),
          bayer: table.bayer[row],
        });
      } finally {
        source.close();
      }
    } catch (error) {
      // A file that is gone or damaged is no reason to show none of the others.
      if (!isExplained(error)) throw error;
      missing.push(table.file[row]);
    }
  }
  const none = `No pictures: ${missing.length === 0 ? "there is no sub to show" : "the subs are not here"}`;
  if (missing.length === rows.length)
    return printed(displayed({ html: "", pngs: [], text: none }, () => ({ "text/plain": none })));
  const sheet = maker.sheet();
  if (missing.length === 0) return printed(sheet);
  const text = `${sheet.text}\nNot shown, as they cannot be read: ${missing.join(", ")}`;
  return printed(displayed({ ...sheet, text }, () => ({ "text/html": sheet.html, "text/plain": text })));
}
