import type { PixelReader } from "../read/pixels.js";
import type { Symptom } from "../terms/symptoms.js";
import type { Verdict } from "../terms/verdicts.js";
import { dataAddress, rasterOf, stretchOfReduced } from "./frame-picture.js";
import { escapeHtml, proseHtml } from "./html.js";
import { type Displayed, displayed } from "./notebook-display.js";
import { type PictureMarks, withMarks } from "./picture-marks.js";
import { encodePng } from "./png.js";
import { type FramePixels, reduceFrame } from "./reduce-frame.js";
import { commonStretch, type Stretch, stretchWords } from "./stretch.js";
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
   * `shared`, when left out: all pictures of a group have the same stretch, so that a bright sky looks brighter and few
   * stars fewer. `own`: each has its own, which shows most of each.
   */
  readonly stretch?: "shared" | "own";
}

/** Pictures of many subs; shows itself as the result of a notebook cell. */
export interface ContactSheet extends Displayed {
  /** A piece of a page: pictures with verdict and reasons under each. */
  readonly html: string;
  readonly pngs: readonly Uint8Array[];
  /** The same in words, one line a sub. */
  readonly text: string;
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

  sheet(): ContactSheet {
    const items = this.#items;
    const isShared = (this.#options.stretch ?? "shared") === "shared";
    const own = items.map(({ reduced }) => stretchOfReduced(reduced));
    const groups = new Map<string, Stretch>();
    for (const name of new Set(items.map(({ item }) => item.group ?? "")))
      groups.set(name, commonStretch(own.filter((_, i) => (items[i]!.item.group ?? "") === name)));
    const pngs = items.map(({ item, reduced }, i) => {
      const firstRow = item.firstRow ?? "bottom";
      const plain = rasterOf(reduced, isShared ? groups.get(item.group ?? "")! : own[i]!, firstRow, 16);
      return encodePng(item.marks === undefined ? plain : withMarks(plain, item.marks, { by: reduced.by, firstRow }));
    });
    const how = `${countWords(items.length, "sub")}, ${howStretched(isShared ? groups : null)} In 16 greys, made smaller by averaging; nothing was denoised, sharpened, removed or recoloured.`;
    const figures = items.map(({ item, reduced }, i) => figureHtml(item, reduced, pngs[i]!));
    const html = `<div class="sheet" style="margin:.8rem 0 1.4rem"><p class="soft" style="font-size:.9em;max-width:42rem">${escapeHtml(how)}</p><div style="display:grid;grid-template-columns:repeat(auto-fill,minmax(min(9.4rem,44vw),1fr));gap:1.1rem .9rem;align-items:start">${figures.join("\n")}</div></div>`;
    const text = [how, ...items.map(({ item }) => [item.file, ...linesOf(item)].join("; "))].join("\n");
    return displayed({ html, pngs, text }, () => ({ "text/html": html, "text/plain": text }));
  }
}

/**
 * A sheet of small pictures with verdict and reasons under each.
 * @throws FitsError when the data of a frame are damaged
 */
export function contactSheet(items: Iterable<SheetItem>, options: SheetOptions = {}): ContactSheet {
  const maker = new SheetMaker(options);
  for (const item of items) maker.add(item);
  return maker.sheet();
}

function howStretched(groups: ReadonlyMap<string, Stretch> | null): string {
  if (groups === null) return "each with a stretch of its own, so that their brightness cannot be compared.";
  if (groups.size === 1)
    return `all with one stretch, so that their brightness can be compared. ${stretchWords([...groups.values()][0]!)}`;
  const each = [...groups].map(
    ([name, { blackAdu, whiteAdu }]) => `${name} ${numberWords(blackAdu)} to ${numberWords(whiteAdu)} ADU`,
  );
  return `one stretch for each group, so that brightness can be compared within it; from black to white: ${listWords(each)}.`;
}

const linesOf = ({ verdict, symptoms, about }: Omit<SheetItem, "frame">): string[] => [
  `${verdictLooks[verdict].sign} ${verdict}`,
  ...(about === undefined ? [] : [about]),
  ...symptoms.map(reasonText),
];

function figureHtml(
  item: Omit<SheetItem, "frame">,
  { width, height }: { width: number; height: number },
  png: Uint8Array,
) {
  const [verdict, ...lines] = linesOf(item).map(proseHtml);
  // The folder is left to the tip; long names break at their parts.
  const name = escapeHtml(item.file.split(/[\\/]/).at(-1)!).replace(/[/_]/g, "$&<wbr>");
  const { colour } = verdictLooks[item.verdict];
  return `<figure style="margin:0;min-width:0" title="${escapeHtml(item.file)}"><img src="${dataAddress(png)}" width="${width}" height="${height}" alt="Picture of ${escapeHtml(item.file)}" style="width:100%;height:auto;display:block;image-rendering:auto"><figcaption style="font-size:.8rem;line-height:1.35;margin-top:.3rem;overflow-wrap:anywhere"><b style="color:${colour}">${verdict}</b><br>${name}${lines.map((line) => `<br>${line}`).join("")}</figcaption></figure>`;
}
