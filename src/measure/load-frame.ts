import type { PixelReader } from "../read/pixels.js";
import { sumBlocks16, sumBlocksFloat } from "./block-sums.js";
import { type FrameBuffers, frameBuffers } from "./frame-buffers.js";

const chunkPixels = 1 << 17;

/**
 * Reads one plane of an image in pieces of some rows and sums 2 x 2 pixels of each piece while it is still in the
 * processor's cache.
 * @param plane - which plane of a cube, from 0
 * @param scratch - buffers of an earlier frame; used when size and type fit, else new ones are made
 * @throws FitsError when the data are damaged
 */
export function loadFrame(reader: PixelReader, plane: number, scratch?: FrameBuffers): FrameBuffers {
  const { width, height } = reader;
  const type = reader.type === "uint16" ? "uint16" : "float32";
  const fits =
    scratch?.width === width &&
    scratch.height === height &&
    scratch.pixels instanceof Uint16Array === (type === "uint16");
  const buffers = fits ? scratch : frameBuffers(width, height, type);
  const { pixels, sums } = buffers;
  const kernels = pixels instanceof Uint16Array && width % 2 === 0 ? buffers.workspace.kernels : null;
  const rowsAtOnce = 2 * Math.max(1, Math.floor(chunkPixels / (2 * width)));
  for (let row = 0; row < height; row += rowsAtOnce) {
    const rows = Math.min(rowsAtOnce, height - row);
    const into = pixels.subarray(row * width, (row + rows) * width);
    if (kernels !== null && reader.readStored !== undefined && into instanceof Uint16Array) {
      reader.readStored(plane * height + row, rows, into);
      kernels.turn16(into.byteOffset, into.length);
    } else reader.readRows(plane * height + row, rows, into);
    const end = row + (rows & ~1);
    if (kernels !== null)
      kernels.sumRows16(
        pixels.byteOffset + 2 * row * width,
        width,
        (end - row) >> 1,
        sums.values.byteOffset + row * width,
      );
    else if (pixels instanceof Uint16Array) sumBlocks16(pixels, width, row, end, sums.values);
    else sumBlocksFloat(pixels, width, row, end, sums.values);
  }
  return buffers;
}
