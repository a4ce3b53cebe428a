import type { PixelReader } from "../read/pixels.js";
import { CallError } from "../terms/errors.js";
import { type FramePicture, pictureOf, rasterOf, stretchOfReduced } from "./frame-picture.js";
import { encodeAnimation, type Raster } from "./png.js";
import { type FramePixels, type Placement, type Reduced, reduceFrame } from "./reduce-frame.js";
import { commonStretch, stretchWords } from "./stretch.js";
import { listWords, percentWords } from "./words.js";

/** One picture of a sequence. */
export interface BlinkItem {
  readonly frame: FramePixels | PixelReader;
  /** Name, for the text. */
  readonly file: string;
  readonly bayer?: string;
  /** Lays the sub on its group's reference; left out: as it was recorded. */
  readonly placement?: Placement;
}

export interface BlinkOptions {
  /** Widest that the picture may be, px; 480 when left out. */
  readonly widthPx?: number;
  /** How long each picture stays, ms; 600 when left out. */
  readonly delayMs?: number;
  readonly firstRow?: "bottom" | "top";
}

const stripPx = 7;

/**
 * Subs one after the other in one animated picture, under one stretch: clouds, drift, satellites and focus show at once.
 * A strip below the picture tells which one is on; nothing else is added.
 * @throws CallError without a sub, or when they differ in size; FitsError when the data of one are damaged
 * @example
 * ```ts
 * import { blinkPicture, firstImage, openFile, openPixels } from "nightyield";
 * const names = ["subs/NGC6888_L_30s_0002.fits.fz", "subs/NGC6888_L_30s_0004.fits.fz"];
 * const sources = names.map((name) => openFile(name));
 * const images = sources.map((source) => firstImage(source));
 * console.log(
 *   blinkPicture(images.map(({ source, hdu }, i) => ({ frame: openPixels(source, hdu), file: names[i] }))).text,
 * );
 * for (const source of sources) source.close();
 * ```
 */
export function blinkPicture(items: Iterable<BlinkItem>, options: BlinkOptions = {}): FramePicture {
  const { widthPx = 480, delayMs = 600, firstRow = "bottom" } = options;
  const names: string[] = [];
  let placed = 0;
  const images: Reduced[] = [];
  for (const { frame, file, bayer, placement } of items) {
    names.push(file);
    if (placement !== undefined) placed++;
    images.push(
      reduceFrame(frame, {
        widthPx,
        ...(bayer !== undefined && { bayer }),
        ...(placement !== undefined && { placement }),
      }),
    );
  }
  const [first] = images;
  if (first === undefined) throw new CallError("A blink sequence needs at least one sub");
  images.forEach(({ width, height, by }, i) => {
    if (width !== first.width || height !== first.height || by !== first.by)
      throw new CallError(`${names[i]} has another size than ${names[0]}. Blink subs of one camera and binning`);
  });
  const stretch = commonStretch(images.map(stretchOfReduced));
  const rasters = images.map((image, i) => withStrip(rasterOf(image, stretch, firstRow, 16), i, images.length));
  const how =
    placed === images.length
      ? "laid on each other by whole pixels"
      : placed === 0
        ? "as recorded"
        : "partly laid on each other by whole pixels";
  const empty = images.map(({ channels }) => channels[0]!.filter(Number.isNaN).length / channels[0]!.length);
  const missing = Math.max(...empty);
  const text = [
    `${images.length} subs one after the other, ${delayMs} ms each, ${how}: ${listWords(shortened(names))}.`,
    `The strip at the bottom shows which one is on.`,
    `One stretch for all. ${stretchWords(stretch)}`,
    missing > 0 ? `Up to ${percentWords(missing)} of a picture has no values and is black.` : "",
    `In 16 greys${first.by > 1 ? `, made smaller by averaging ${first.by} \u00d7 ${first.by} pixels` : ""}; nothing was denoised, sharpened, removed or recoloured.`,
  ]
    .filter(Boolean)
    .join(" ");
  return pictureOf(encodeAnimation(rasters, { delayMs }, text), rasters[0]!, text);
}

const shortened = (names: readonly string[]) =>
  names.length <= 12 ? names : [...names.slice(0, 6), `${names.length - 7} more`, names.at(-1)!];

/** The picture with a row of segments below it, the one that is on in white. */
function withStrip({ width, height, channels, samples }: Raster, on: number, count: number): Raster {
  const out = new Uint8Array(width * (height + stripPx) * channels);
  out.set(samples);
  for (let y = height + 2; y < height + stripPx - 1; y++)
    for (let x = 0; x < width; x++) {
      const segment = Math.min(count - 1, Math.floor((x * count) / width));
      const isGap = width / count > 4 && Math.floor(((x + 1) * count) / width) > segment;
      out.fill(isGap ? 0 : segment === on ? 255 : 68, (y * width + x) * channels, (y * width + x + 1) * channels);
    }
  return { width, height: height + stripPx, channels, samples: out };
}
