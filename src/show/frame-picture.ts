import type { PixelReader } from "../read/pixels.js";
import { escapeHtml } from "./html.js";
import { type Displayed, displayed } from "./notebook-display.js";
import { type MarkScale, marksWords, type PictureMarks, withMarks } from "./picture-marks.js";
import { encodePng, type Raster } from "./png.js";
import { type FramePixels, type Placement, type Reduced, reduceFrame } from "./reduce-frame.js";
import { greyOf, type Stretch, stretchOf, stretchWords } from "./stretch.js";
import { percentWords } from "./words.js";

/** How a frame is drawn. */
export interface PictureOptions {
  /** Widest that the picture may be, px; 900 when left out. Frames are made smaller by averaging, never larger. */
  readonly widthPx?: number;
  /** Colour mosaic as stored, first row first, for example RGGB; empty or absent: mono. */
  readonly bayer?: string;
  /** Show a mosaic in the colours that the sensor recorded; in grey when left out. */
  readonly colour?: boolean;
  /** Where the first stored row is drawn: at the bottom, as FITS suggests, when left out. */
  readonly firstRow?: "bottom" | "top";
  /** A stretch that several pictures share; from this frame alone when left out. */
  readonly stretch?: Stretch;
  /** How many greys: 256 when left out. Fewer make smaller files. */
  readonly greys?: 16 | 256;
  /** Stars, streaks and blocked areas, drawn on top. */
  readonly marks?: PictureMarks;
  /** Lays the sub on the reference of its group, by whole pixels. */
  readonly placement?: Placement;
}

/** A picture of a frame; shows itself as the result of a notebook cell. */
export interface FramePicture extends Displayed {
  readonly png: Uint8Array;
  readonly width: number;
  readonly height: number;
  /** What was done to the pixels and what is drawn on top. */
  readonly text: string;
  /** The picture and its text, for a page. */
  readonly html: string;
}

/**
 * A frame as a picture that hides nothing: averaged to a size, and one rising curve from values to greys. Nothing is
 * denoised, sharpened, removed or recoloured; `text` says what was done.
 * @param frame - of three planes the middle one is shown
 * @throws FitsError when the data are damaged; CallError when a width below 8 is asked for
 * @example
 * ```ts
 * import { framePicture } from "nightyield";
 * const picture = framePicture({ width: 400, height: 300, values: new Float32Array(120_000) }, { widthPx: 200 });
 * console.log(picture.png.length, picture.text);
 * ```
 */
export function framePicture(frame: FramePixels | PixelReader, options: PictureOptions = {}): FramePicture {
  const { firstRow = "bottom", marks } = options;
  const reduced = reduceFrame(frame, { ...options, widthPx: options.widthPx ?? 900 });
  const stretch = options.stretch ?? stretchOfReduced(reduced);
  const plain = rasterOf(reduced, stretch, firstRow, options.greys);
  const raster =
    marks === undefined ? plain : withMarks(plain, marks, { by: reduced.by, firstRow } satisfies MarkScale);
  const text = [madeWords(reduced, stretch, firstRow), marks === undefined ? "" : marksWords(marks)].filter(Boolean);
  return pictureOf(encodePng(raster, text.join(" ")), raster, text.join(" "));
}

/** All channels share one stretch, so that the balance of the colours stays as recorded. */
export function stretchOfReduced({ channels }: Reduced): Stretch {
  if (channels.length === 1) return stretchOf(channels[0]!);
  const all = new Float32Array(channels.length * channels[0]!.length);
  channels.forEach((channel, c) => {
    all.set(channel, c * channel.length);
  });
  return stretchOf(all);
}

/** Greys or colours of an image under a stretch. */
export function rasterOf(
  { width, height, channels }: Reduced,
  stretch: Stretch,
  firstRow: "bottom" | "top",
  greys: 16 | 256 = 256,
): Raster {
  const samples = new Uint8Array(width * height * channels.length);
  const step = 255 / (greys - 1);
  for (let y = 0; y < height; y++) {
    const stored = firstRow === "top" ? y : height - 1 - y;
    for (let x = 0; x < width; x++)
      for (let c = 0; c < channels.length; c++)
        samples[(y * width + x) * channels.length + c] =
          step * Math.round((255 / step) * greyOf(channels[c]![stored * width + x]!, stretch));
  }
  return { width, height, channels: channels.length === 3 ? 3 : 1, samples };
}

/** What was done to the pixels, in sentences. */
export function madeWords(reduced: Reduced, stretch: Stretch, firstRow: "bottom" | "top"): string {
  const { by, isMosaic, channels } = reduced;
  const square = `${by} \u00d7 ${by}`;
  const size = !isMosaic
    ? by === 1
      ? "Each pixel of the frame is one of the picture."
      : `Each pixel of the picture is the mean of ${square} pixels of the frame.`
    : channels.length === 1
      ? `A colour sensor\u2019s frame in grey: each pixel of the picture is the mean of ${square} pixels, all colours together.`
      : `A colour sensor\u2019s frame in its own colours, without white balance: each pixel of the picture holds the means of the red, green and blue pixels among ${square}.`;
  const empty = channels.reduce((sum, channel) => sum + channel.filter(Number.isNaN).length, 0);
  const missing =
    empty === 0
      ? ""
      : ` ${percentWords(empty / (channels.length * channels[0]!.length))} of the picture has no values and is black.`;
  return `${size} ${stretchWords(stretch)}${missing} The first row of the file is at the ${firstRow}. Nothing was denoised, sharpened, removed or recoloured.`;
}

/** A picture with its text, ready to be shown. */
export function pictureOf(
  png: Uint8Array,
  { width, height }: Pick<Raster, "width" | "height">,
  text: string,
): FramePicture {
  const html = `<figure style="margin:0"><img src="${dataAddress(png)}" width="${width}" height="${height}" alt="${escapeHtml(text)}" style="max-width:100%;height:auto"><figcaption style="font-size:.9em;max-width:42rem">${escapeHtml(text)}</figcaption></figure>`;
  return displayed({ png, width, height, text, html }, () => ({
    "image/png": png,
    "text/html": html,
    "text/plain": text,
  }));
}

/** A picture as an address that holds it. */
export const dataAddress = (png: Uint8Array): string =>
  `data:image/png;base64,${Buffer.from(png.buffer, png.byteOffset, png.byteLength).toString("base64")}`;
