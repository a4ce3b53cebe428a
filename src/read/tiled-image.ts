import { decodeTile, tileBuffers } from "./decode-tile.js";
import type { ByteSource } from "./file-bytes.js";
import type { Header } from "./header.js";
import type { PixelReader } from "./pixels.js";
import { checkRows, shapeOf } from "./plain-image.js";
import { pixelArray } from "./scaling.js";
import { planOf } from "./tile-plan.js";

/**
 * Opens a tile-compressed image (FITS Standard 4.0, section 10) for reading in rows. Tiles are decoded in bands, one
 * row of tiles at a time; the last band is kept, so reading from top to bottom decodes each tile once.
 * @param header - header of the binary table that carries the image (ZIMAGE = T)
 * @param dataOffsetBytes - byte at which the table's data start
 * @throws FitsError when the table cannot hold the image that its header declares
 */
export function openTiledImage(source: ByteSource, header: Header, dataOffsetBytes: number): PixelReader {
  const plan = planOf(source, header, dataOffsetBytes);
  const { axes, tile, counts, type } = plan;
  const shape = shapeOf(axes);
  // Rows run over the second and all further axes; a band is as many rows as its tiles are high.
  const bandRows = tile[1] ?? 1;
  const buffers = tileBuffers(plan);
  let band = { first: -1, rows: 0, pixels: pixelArray(type, 0) };
  /** The tile that lies decoded in the buffers: the planes of a tile that spans several come from one decoding. */
  let decoded = -1;

  /** Decodes the tiles that hold a row; of tiles that span planes, only the plane of that row is kept. */
  function bandOf(row: number): typeof band {
    const plane = Math.floor(row / shape.height);
    const tileY = Math.floor((row % shape.height) / bandRows);
    const first = plane * shape.height + tileY * bandRows;
    if (band.first === first) return band;
    const rows = Math.min(bandRows, shape.height - tileY * bandRows);
    const pixels = band.pixels.length > 0 ? band.pixels : pixelArray(type, bandRows * shape.width);
    band = { first: -1, rows, pixels }; // no band, should a tile be damaged
    // Index of the plane along each further axis, hence which tile and which slice of it.
    let rest = plane;
    let number = tileY * counts[0]!;
    let step = counts[0]! * (counts[1] ?? 1);
    let slice = 0;
    let slices = 1;
    for (let axis = 2; axis < axes.length; axis++) {
      const index = rest % axes[axis]!;
      rest = Math.floor(rest / axes[axis]!);
      const tileIndex = Math.floor(index / tile[axis]!);
      number += tileIndex * step;
      step *= counts[axis]!;
      slice += (index % tile[axis]!) * slices;
      slices *= Math.min(tile[axis]!, axes[axis]! - tileIndex * tile[axis]!);
    }
    for (let tileX = 0; tileX < counts[0]!; tileX++) {
      const left = tileX * tile[0]!;
      const columns = Math.min(tile[0]!, shape.width - left);
      if (decoded !== number + tileX) {
        decoded = -1;
        decodeTile(plan, number + tileX, columns, columns * rows * slices, buffers);
        decoded = number + tileX;
      }
      for (let r = 0, from = slice * columns * rows; r < rows; r++, from += columns)
        pixels.set(buffers.physical.subarray(from, from + columns), r * shape.width + left);
    }
    band = { first, rows, pixels };
    return band;
  }

  return {
    ...shape,
    type,
    readRows(firstRow, rows, into) {
      checkRows(shape, firstRow, rows, into);
      for (let row = firstRow; row < firstRow + rows; ) {
        const { first, rows: held, pixels } = bandOf(row);
        const take = Math.min(first + held, firstRow + rows) - row;
        const from = (row - first) * shape.width;
        into.set(pixels.subarray(from, from + take * shape.width), (row - firstRow) * shape.width);
        row += take;
      }
    },
  };
}
