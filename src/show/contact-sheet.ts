import type { PixelReader } from "../read/pixels.js";
import type { Symptom } from "../terms/symptoms.js";
import type { Verdict } from "../terms/verdicts.js";
import { dataAddress, rasterOf, stretchOfReduced } from "./frame-picture.js";
import { escapeHtml, proseHtml } from "./html.js";
import { type Displayed, displayed } from "./notebook-display.js";
import { marksWords, type PictureMarks, withMarks } from "./picture-marks.js";
import { encodePng } from "./png.js";
import { type FramePixels, reduceFrame } from "./reduce-frame.js";
import { alikeSkies, commonStretch, type Stretch, stretchWords } from "./stretch.js";
import { verdictLooks } from "./verdict-look.js";
import { countWords, listWords, numberWords, reasonText } from "./words.js";

/** One sub on a sheet. */
export interface SheetItem {
  readonly frame: FramePixels | PixelReader;
  readonly file: string;
  readonly verdict: Verdict;
  readonly symptoms: readonly Symptom[];
  /** Anything else that belongs under the picture, such as the time. */
  readonly about?: string;
  /** Subs that can be compared, such as those of one filter, share a stretch; one group when left out. */
  readonly group?: string;
  readonly bayer?: string;
  readonly firstRow?: "bottom" | "top";
  readonly marks?: PictureMarks;
}

export interface SheetOptions {
  /** Widest that each picture may be, px; 144 when left out. */
  readonly widthPx?: number;
  /**
   * `shared`, when left out: all pictures of a group whose skies are alike have the same stretch, so that a brighter sky
   * looks brighter and few stars fewer. `own`: each has its own, which shows most of each.
   */
  readonly stretch?: "shared" | "own";
}

/** One picture of a sheet. */
export interface SheetPicture {
  readonly png: Uint8Array;
  readonly width: number;
  readonly height: number;
  readonly file: string;
  readonly verdict: Verdict;
  /** What stands below it: time, reasons, and the stretch where it is another than the group's. */
  readonly lines: readonly string[];
  /** For those who do not see it. */
  readonly alt: string;
}

/** Pictures of many subs; shows itself as the result of a notebook cell. */
export interface ContactSheet extends Displayed {
  /** A piece of a page: pictures with verdict and reasons under each. */
  readonly html: string;
  readonly pngs: readonly Uint8Array[];
  /** The same in words, one line a sub. */
  readonly text: string;
}

/** A sheet with its parts, for pages that lay them out themselves. */
export interface MadeSheet extends ContactSheet {
  readonly pictures: readonly SheetPicture[];
  /** How the pictures were made. */
  readonly how: string;
}

/** A sheet in the making: frames are read one at a time and may be closed after they were added. */
export class SheetMaker {
  readonly #items: { item: Omit<SheetItem, "frame">; reduced: ReturnType<typeof reduceFrame> }[] = [];
  readonly #options: SheetOptions;

  constructor(options: SheetOptions = {}) {
    this.#options = options;
  }

  /** @throws FitsError when the data are damaged */
  add({ frame, ...item }: SheetItem): void {
    const reduced = reduceFrame(frame, {
      widthPx: this.#options.widthPx ?? 144,
      ...(item.bayer !== undefined && { bayer: item.bayer }),
    });
    this.#items.push({ item, reduced });
  }

  sheet(): MadeSheet {
    const items = this.#items;
    const isShared = (this.#options.stretch ?? "shared") === "shared";
    const own = items.map(({ reduced }) => stretchOfReduced(reduced));
    const shared = isShared ? sharedStretches(items, own) : null;
    const pictures = items.map(({ item, reduced }, i): SheetPicture => {
      const firstRow = item.firstRow ?? "bottom";
      const plain = rasterOf(reduced, shared?.of[i] ?? own[i]!, firstRow, 16);
      const raster = item.marks === undefined ? plain : withMarks(plain, item.marks, { by: reduced.by, firstRow });
      const apart = shared?.apart[i] ?? "";
      const lines = [...linesOf(item), ...(apart === "" ? [] : [apart])];
      const marks = item.marks === undefined ? [] : [marksWords(item.marks)].filter(Boolean);
      return {
        png: encodePng(raster),
        width: reduced.width,
        height: reduced.height,
        file: item.file,
        verdict: item.verdict,
        lines,
        alt: [`Picture of ${item.file}, ${item.verdict}`, ...lines].join("; ") + [".", ...marks].join(" "),
      };
    });
    const how = `${countWords(items.length, "sub")}, ${howStretched(shared)} In 16 greys, made smaller by averaging; nothing was denoised, sharpened, removed or recoloured.`;
    const html = `<div class="sheet" style="margin:.8rem 0 1.4rem"><p class="soft" style="font-size:.9em;max-width:42rem">${escapeHtml(how)}</p><div style="display:grid;grid-template-columns:repeat(auto-fill,minmax(min(9.4rem,44vw),1fr));gap:1.1rem .9rem;align-items:start">${pictures.map(figureHtml).join("\n")}</div></div>`;
    const text = [
      how,
      ...pictures.map(({ file, verdict, lines }) => [file, signed(verdict), ...lines].join("; ")),
    ].join("\n");
    const pngs = pictures.map(({ png }) => png);
    return displayed({ html, pngs, pictures, how, text }, () => ({ "text/html": html, "text/plain": text }));
  }
}

/** The stretch of each picture where groups share them. */
interface Shared {
  readonly of: readonly Stretch[];
  /** What to say of a picture whose stretch is not that of most of its group; empty for the others. */
  readonly apart: readonly string[];
  /** The stretch of most pictures of each group. */
  readonly groups: ReadonlyMap<string, Stretch>;
}

function sharedStretches(
  items: readonly { readonly item: Omit<SheetItem, "frame"> }[],
  own: readonly Stretch[],
): Shared {
  const of = [...own];
  const apart = own.map(() => "");
  const groups = new Map<string, Stretch>();
  for (const name of new Set(items.map(({ item }) => item.group ?? ""))) {
    const members = items.flatMap(({ item }, i) => ((item.group ?? "") === name ? [i] : []));
    const sets = alikeSkies(members.map((i) => own[i]!)).map((set) => set.map((k) => members[k]!));
    // Where good subs are on the sheet, theirs is the group's.
    const rank = (set: readonly number[]) =>
      set.length + (set.some((i) => items[i]!.item.verdict === "keep") ? items.length : 0);
    const usual = sets.reduce((most, set) => (rank(set) > rank(most) ? set : most));
    for (const set of sets) {
      const stretch = commonStretch(set.map((i) => own[i]!));
      if (set === usual) groups.set(name, stretch);
      for (const i of set) {
        of[i] = stretch;
        if (set !== usual)
          apart[i] =
            `own stretch, ${numberWords(stretch.blackAdu)} to ${numberWords(stretch.whiteAdu)} ADU: its sky is ${stretch.skyAdu > commonStretch(usual.map((k) => own[k]!)).skyAdu ? "brighter" : "darker"}`;
      }
    }
  }
  return { of, apart, groups };
}

/**
 * A sheet of small pictures with verdict and reasons under each.
 * @throws FitsError when the data of a frame are damaged
 * @example
 * ```ts
 * import { contactSheet, firstImage, openFile, openPixels } from "nightyield";
 * const file = "subs/NGC6888_L_30s_0002.fits.fz";
 * const source = openFile(file);
 * const image = firstImage(source);
 * const frame = openPixels(image.source, image.hdu);
 * console.log(contactSheet([{ frame, file, verdict: "keep", symptoms: [] }]).text);
 * source.close();
 * ```
 */
export function contactSheet(items: Iterable<SheetItem>, options: SheetOptions = {}): ContactSheet {
  const maker = new SheetMaker(options);
  for (const item of items) maker.add(item);
  return maker.sheet();
}

function howStretched(shared: Shared | null): string {
  if (shared === null) return "each with a stretch of its own, so that their brightness cannot be compared.";
  const { groups, apart } = shared;
  const others = apart.some((words) => words !== "")
    ? " Subs whose sky is brighter or darker than that have their own, which is said below them."
    : "";
  if (groups.size === 1)
    return `${others === "" ? "all" : "most"} with one stretch, so that their brightness can be compared. ${stretchWords([...groups.values()][0]!)}${others}`;
  const each = [...groups].map(
    ([name, { blackAdu, whiteAdu }]) => `${name} ${numberWords(blackAdu)} to ${numberWords(whiteAdu)} ADU`,
  );
  return `one stretch for each group, so that brightness can be compared within it; from black to white: ${listWords(each)}.${others}`;
}

const signed = (verdict: Verdict) => `${verdictLooks[verdict].sign} ${verdict}`;

const linesOf = ({ symptoms, about }: Omit<SheetItem, "frame">): string[] => [
  ...(about === undefined ? [] : [about]),
  ...symptoms.map(reasonText),
];

function figureHtml({ png, width, height, file, verdict, lines, alt }: SheetPicture): string {
  // The folder is left to the tip; long names break at their parts.
  const name = escapeHtml(file.split(/[\\/]/).at(-1)!).replace(/[/_]/g, "$&<wbr>");
  const { colour } = verdictLooks[verdict];
  return `<figure style="margin:0;min-width:0" title="${escapeHtml(file)}"><img src="${dataAddress(png)}" width="${width}" height="${height}" alt="${escapeHtml(alt)}" style="width:100%;height:auto;display:block;image-rendering:auto"><figcaption style="font-size:.8rem;line-height:1.35;margin-top:.3rem;overflow-wrap:anywhere"><b style="color:${colour}">${proseHtml(signed(verdict))}</b><br>${name}${lines.map((line) => `<br>${proseHtml(line)}`).join("")}</figcaption></figure>`;
}
