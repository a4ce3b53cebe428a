import type { Background } from "./background.js";
import type { FrameBuffers } from "./frame-buffers.js";
import { fitSky, type SkyFit, skyBins } from "./sky-histogram.js";

const mostBlocks = 150_000;

/**
 * Standard deviation of one pixel, from a - b - c + d over 2 x 2 blocks: level, slope and anything wider than a pixel
 * cancel, so neither gradients nor the haze of unresolved stars count as noise. On a colour mosaic it is the root mean
 * square of the four channels.
 * @param wholeNumbers - true when pixels are integers
 * @returns ADU; NaN when too few blocks have values
 */
export function pixelNoise(
  { pixels, width, sums }: FrameBuffers,
  { medianSigma, empty, sigma: { across, down, values } }: Background,
  wholeNumbers: boolean,
): number {
  if (!(medianSigma > 0)) return Number.NaN;
  // Without meshes behind a roof, or where the level falls off a cliff.
  const typical = empty.map((none, i) =>
    none === 0 && values[i]! > medianSigma / 2 && values[i]! < 2 * medianSigma ? 1 : 0,
  );
  const histogram = new Uint32Array(skyBins);
  let step = medianSigma / 10;
  if (step >= 1) step = 2 * Math.floor((step - 1) / 2) + 1;
  else if (wholeNumbers) step = 1;
  const spacing = Math.max(1, Math.ceil((sums.width * sums.height) / mostBlocks));
  const middle = skyBins >> 1;
  let count = 0;
  let first = skyBins - 1;
  for (let y = spacing >> 1; y < sums.height; y += spacing) {
    const row = Math.min(down - 1, Math.floor((y * down) / sums.height)) * across;
    for (let x = 0, at = 2 * y * width; x < sums.width; x++, at += 2) {
      if (typical[row + Math.floor((x * across) / sums.width)] === 0) continue;
      const difference = pixels[at]! - pixels[at + 1]! - pixels[at + width]! + pixels[at + width + 1]!;
      // Counted with both signs: which corner is first must not matter.
      const steps = Math.round(difference / step);
      const bin = middle - Math.abs(steps);
      if (!(bin > 0)) continue;
      histogram[bin]!++;
      histogram[middle + Math.abs(steps)]!++;
      count += 2;
      if (bin < first) first = bin;
    }
  }
  const fit: SkyFit = { level: Number.NaN, sigma: Number.NaN };
  fitSky(histogram, first, count, fit);
  return (fit.sigma * step) / 2;
}
