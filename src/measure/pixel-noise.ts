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
  for (let y = spacing >> 1; y < sums.height; y += spacing) {
    const row = Math.min(down - 1, Math.floor((y * down) / sums.height)) * across;
    for (let mesh = 0; mesh < across; mesh++) {
      if (typical[row + mesh] === 0) continue;
      const end = 2 * (y * width + Math.ceil(((mesh + 1) * sums.width) / across));
      for (let at = 2 * (y * width + Math.ceil((mesh * sums.width) / across)); at < end; at += 2) {
        const difference = pixels[at]! - pixels[at + 1]! - pixels[at + width]! + pixels[at + width + 1]!;
        // NaN becomes a bin that is left out.
        const steps = difference / step + middle + 0.5;
        if (!(steps > 1 && steps < skyBins - 1)) continue;
        histogram[steps | 0]!++;
        count++;
      }
    }
  }
  const turned = oneWay(histogram, count, medianSigma / step);
  const fit: SkyFit = { level: Number.NaN, sigma: Number.NaN };
  fitSky(
    turned,
    turned.findIndex((many) => many > 0),
    turned === histogram ? count : 2 * count,
    fit,
  );
  return (fit.sigma * step) / 2;
}

/**
 * Which corner is first must not matter. On a mono frame the differences lie around zero, and each is counted with both
 * signs. The colours of a mosaic shift them all one way, and starlight shifts them further: that way is made upwards, as
 * the fit looks at the lower side.
 */
function oneWay(histogram: Uint32Array, count: number, sigma: number): Uint32Array {
  const middle = skyBins >> 1;
  let below = 0;
  let median = 0;
  while (below < count / 2) below += histogram[median++]!;
  const shift = median - 1 - middle;
  if (Math.abs(shift) > Math.max(1, 0.1 * sigma)) {
    if (shift < 0) histogram.subarray(1).reverse();
    return histogram;
  }
  const both = new Uint32Array(skyBins);
  for (let bin = 1; bin < skyBins; bin++) both[bin] = histogram[bin]! + histogram[skyBins - bin]!;
  return both;
}
