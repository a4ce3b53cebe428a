import { median } from "../numbers/quantiles.js";
import type { FrameBuffers } from "./frame-buffers.js";
import { MeshMap } from "./mesh-map.js";

/** What has to be known of a one-shot-colour mosaic to measure stars on its raw pixels. Channel = x % 2 + 2 (y % 2). */
export interface Mosaic {
  /** How much each channel's sky lies above the mean of the four, over positions in 2 x 2 cells. */
  readonly offsets: readonly MeshMap[];
  /** What each channel's starlight is multiplied by to match the mean of the four. */
  readonly balance: Float64Array;
  /** Green pixels have (x + y) % 2 equal to this. */
  readonly greenParity: 0 | 1;
}

/** Place of the green pixels for a colour pattern such as RGGB, first row first; null when it is not such a pattern. */
export function greenParityOf(bayer: string): 0 | 1 | null {
  const pattern = bayer.trim().toUpperCase();
  if (/^[RB]GG[RB]$/.test(pattern)) return 1;
  if (/^G[RB][RB]G$/.test(pattern)) return 0;
  return null;
}

/** Measures the four channels' skies against their mean on a coarse grid. The balance is 1 until stars are known. */
export function measureMosaic(buffers: FrameBuffers, greenParity: 0 | 1): Mosaic {
  const { pixels, width, sums } = buffers;
  const across = Math.max(1, Math.min(6, Math.floor(sums.width / 64)));
  const down = Math.max(1, Math.min(6, Math.floor(sums.height / 64)));
  const offsets = [0, 1, 2, 3].map((channel) => {
    const values = new Float64Array(across * down);
    for (let mesh = 0; mesh < values.length; mesh++) {
      const fromX = Math.floor(((mesh % across) * sums.width) / across);
      const toX = Math.floor(((mesh % across) + 1) * (sums.width / across));
      const fromY = Math.floor((Math.floor(mesh / across) * sums.height) / down);
      const toY = Math.floor((Math.floor(mesh / across) + 1) * (sums.height / down));
      const spacing = Math.max(1, Math.floor(Math.sqrt(((toX - fromX) * (toY - fromY)) / 1500)));
      const sample = new Float64Array(Math.ceil((toX - fromX) / spacing) * Math.ceil((toY - fromY) / spacing));
      let count = 0;
      for (let y = fromY; y < toY; y += spacing)
        for (let x = fromX; x < toX; x += spacing) {
          const at = (2 * y + (channel >> 1)) * width + 2 * x + (channel & 1);
          sample[count++] = pixels[at]! - sums.values[y * sums.width + x]! / 4;
        }
      values[mesh] = median(sample);
    }
    return new MeshMap(across, down, sums.width, sums.height, values).filtered();
  });
  return { offsets, balance: new Float64Array(4).fill(1), greenParity };
}
