import type { PixelReader } from "../read/pixels.js";
import { pixelArray } from "../read/scaling.js";
import { CallError } from "../terms/errors.js";

/** An image in memory, rows as stored. */
export interface FramePixels {
  readonly width: number;
  readonly height: number;
  readonly values: ArrayLike<number>;
}

/** How a sub lies on the reference of its group, as the frame table has it. */
export interface Placement {
  readonly shiftXPx: number;
  readonly shiftYPx: number;
  readonly rotationDeg: number;
}

export interface ReduceOptions {
  /** Widest that the smaller image may be, px. */
  readonly widthPx: number;
  /** Colour mosaic as stored, first row first, for example RGGB; empty: mono. */
  readonly bayer?: string;
  /** Of a mosaic, keep red, green and blue apart instead of adding each 2 x 2 pixels to one grey. */
  readonly colour?: boolean;
  /** Lays the sub on its reference, by whole pixels. */
  readonly placement?: Placement;
}

/** An image made smaller by averaging. */
export interface Reduced {
  readonly width: number;
  readonly height: number;
  /** One array for grey, three for red, green and blue; rows as stored. NaN where there is no value. */
  readonly channels: readonly Float32Array[];
  /** Pixels of the frame on a side of a pixel here. */
  readonly by: number;
  readonly isMosaic: boolean;
}

/** Place of each pixel of a 2 x 2 cell among red (0), green (1), blue (2); null when there is no such pattern. */
function colourCell(bayer = ""): readonly number[] | null {
  const pattern = bayer.trim().toUpperCase();
  return /^(?:RGGB|BGGR|GRBG|GBRG)$/.test(pattern) ? Array.from(pattern, (c) => "RGB".indexOf(c)) : null;
}

/** All pixels of the plane that is measured: of three planes the middle one, of any other number the first. */
export function wholePlane(reader: PixelReader): FramePixels {
  const { width, height } = reader;
  const values = pixelArray(reader.type, width * height);
  reader.readRows(reader.planes === 3 ? height : 0, height, values);
  return { width, height, values };
}

/**
 * Makes a frame smaller: each new pixel is the plain mean of a square of the frame's pixels. What is left of the last
 * columns and rows after the last whole square is cut off. Of a mosaic a square always holds whole 2 x 2 cells.
 * @throws CallError when the width asked for is below 8
 */
export function reduceFrame(frame: FramePixels | PixelReader, options: ReduceOptions): Reduced {
  const { widthPx, placement } = options;
  if (!(widthPx >= 8)) throw new CallError(`A picture of ${widthPx} pixels' width shows nothing; ask for 8 or more`);
  const { width: fullWidth, height: fullHeight, values } = "readRows" in frame ? wholePlane(frame) : frame;
  const cell = colourCell(options.bayer);
  const least = Math.max(1, Math.ceil(fullWidth / widthPx));
  const by = cell === null ? least : least + (least & 1);
  const width = Math.max(1, Math.floor(fullWidth / by));
  const height = Math.max(1, Math.floor(fullHeight / by));
  const inColour = cell !== null && options.colour === true;
  const channels = (inColour ? [0, 1, 2] : [0]).map(() => new Float32Array(width * height));
  const [sums, counts] = [new Float64Array(3), new Float64Array(3)];
  const corner = cornerOf(placement, fullWidth, fullHeight, by, cell === null ? 1 : 2);
  for (let row = 0; row < height; row++)
    for (let column = 0; column < width; column++) {
      const at = row * width + column;
      const [left, bottom] = corner(column, row);
      sums.fill(0);
      counts.fill(0);
      const isInside = left >= 0 && bottom >= 0 && left + by <= fullWidth && bottom + by <= fullHeight;
      // A frame smaller than one square is averaged as far as it goes.
      const inside = placement === undefined || isInside;
      if (inside)
        for (let y = bottom; y < Math.min(bottom + by, fullHeight); y++)
          for (let x = left; x < Math.min(left + by, fullWidth); x++) {
            const value = values[y * fullWidth + x]!;
            if (!Number.isFinite(value)) continue;
            const channel = inColour ? cell[2 * (y & 1) + (x & 1)]! : 0;
            sums[channel]! += value;
            counts[channel]!++;
          }
      for (let c = 0; c < channels.length; c++) channels[c]![at] = sums[c]! / counts[c]!;
    }
  return { width, height, channels, by, isMosaic: cell !== null };
}

/** Where the square of a new pixel begins in the frame. */
function cornerOf(placement: Placement | undefined, width: number, height: number, by: number, step: number) {
  if (placement === undefined) return (column: number, row: number) => [column * by, row * by] as const;
  const { shiftXPx, shiftYPx, rotationDeg } = placement;
  const angle = (rotationDeg * Math.PI) / 180;
  const [cosine, sine] = [Math.cos(angle), Math.sin(angle)];
  const [middleX, middleY] = [(width - 1) / 2, (height - 1) / 2];
  const whole = (place: number) => step * Math.round((place - (by - 1) / 2) / step);
  return (column: number, row: number) => {
    const [x, y] = [column * by + (by - 1) / 2 - middleX, row * by + (by - 1) / 2 - middleY];
    return [
      whole(x * cosine - y * sine + middleX + shiftXPx),
      whole(x * sine + y * cosine + middleY + shiftYPx),
    ] as const;
  };
}
