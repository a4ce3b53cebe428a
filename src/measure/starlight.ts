import { fluxScale, leastSnrForGrowth } from "./flux-scale.js";
import { foreignLight } from "./foreign-light.js";
import { gaussianPerStep, gaussianTable } from "./gaussian-table.js";
import { type Growth, growthCurve } from "./growth-curve.js";
import { localShapes } from "./local-shape.js";
import { cutStamp, mostStampRadius, type Source, type Stamp } from "./stamp.js";
import { inRowOrder, type Star, starFlags } from "./star.js";
import type { StarGrid } from "./star-grid.js";
import { tightRatios } from "./tight-aperture.js";

/** With fewer stars that stand alone in wide apertures, smaller ones around all stars tell more. */
const enoughAlone = 12;

/** Variance of a star's light. */
export interface Light {
  /** Variance that each unit of starlight adds (1 / gain). */
  readonly perValue: number;
  /** Covariance of the typical star. */
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
}

/**
 * Measures each star's light with an elliptical Gaussian of the shape that stars have around its place as weight
 * ({@link localShapes}): the estimate with the least noise, linear in the star's light whatever its brightness, so that
 * fluxes of one frame compare with another's. One shape for the whole frame would lose light where the field's turning
 * or the optics draw stars out, and differently in each frame.
 */
export function measureFluxes(stars: readonly Star[], source: Source, light: Light, stamp: Stamp): void {
  const { perValue } = light;
  const shapeAt = localShapes(stars, light);
  for (const star of inRowOrder(stars)) {
    const { xx, xy, yy } = shapeAt(star.x, star.y);
    const determinant = xx * yy - xy * xy;
    const area = 2 * Math.PI * Math.sqrt(determinant);
    const radius = Math.min(mostStampRadius, Math.ceil(3 * Math.sqrt(Math.max(xx, yy))) + 1);
    const middleX = Math.round(star.x);
    const middleY = Math.round(star.y);
    cutStamp(source, middleX, middleY, radius, star.sky, stamp);
    lightUnder(stamp, star.x - middleX, star.y - middleY, yy / determinant, -xy / determinant, xx / determinant);
    const [light1, weight2, weight3] = stamp.out as unknown as readonly [number, number, number];
    const amplitude = light1 / weight2;
    const variance =
      (star.sigma * star.sigma) / weight2 + (perValue * Math.max(0, amplitude) * weight3) / (weight2 * weight2);
    star.flux = area * amplitude;
    star.fluxError = area * Math.sqrt(variance);
  }
}

/** Sums of weight x value, weight squared and weight cubed under a Gaussian, into the first places of `stamp.out`. */
function lightUnder(stamp: Stamp, x: number, y: number, inverseXX: number, inverseXY: number, inverseYY: number): void {
  const { values, radius, side, out, kernels } = stamp;
  if (kernels !== null) {
    kernels.lightUnder(values.byteOffset, radius, x, y, inverseXX, inverseXY, inverseYY, out.byteOffset);
    return;
  }
  let light1 = 0;
  let weight2 = 0;
  let weight3 = 0;
  for (let py = -radius; py <= radius; py++) {
    const dy = py - y;
    const row = (py + radius) * side + radius;
    for (let px = -radius; px <= radius; px++) {
      const dx = px - x;
      const q = inverseXX * dx * dx + (2 * inverseXY * dx + inverseYY * dy) * dy;
      if (q > 9) continue;
      const value = values[row + px]!;
      if (Number.isNaN(value)) continue;
      const step = q * gaussianPerStep;
      const whole = step | 0;
      const weight = gaussianTable[whole]! + (gaussianTable[whole + 1]! - gaussianTable[whole]!) * (step - whole);
      light1 += weight * value;
      weight2 += weight * weight;
      weight3 += weight * weight * weight;
    }
  }
  out[0] = light1;
  out[1] = weight2;
  out[2] = weight3;
}

/** Marks stars that a neighbour's light reaches: within `reach`, with more than 3 % of the star's own light. */
export function markCrowded(stars: readonly Star[], grid: StarGrid, reach: number): void {
  stars.forEach((star, self) => {
    const crowded = grid.some(
      star.x,
      star.y,
      reach,
      (index) => index !== self && stars[index]!.flux > 0.03 * star.flux,
    );
    if (crowded) star.flags |= starFlags.crowded;
  });
}

/**
 * Half-flux radii from growth curves, and with them what is missing from the fluxes of the Gaussian weight, which is
 * then put on all stars.
 * @param image - pixels to use; `side` of them are a side of a pixel of the level, so that wide stars are not blurred
 * @param outer - outermost radius, pixels of the level
 * @param fraction - share of a star's light within it
 */
export function measureGrowth(
  stars: readonly Star[],
  image: { readonly source: Source; readonly side: number },
  outer: number,
  fraction: number,
  stamp: Stamp,
): void {
  const { source, side } = image;
  const growth: Growth = { hfr: Number.NaN, flux: Number.NaN };
  const radius = Math.min(mostStampRadius, Math.ceil(outer * side) + 1);
  const within = Math.min(outer * side, radius - 1);
  const used: { ratio: number; flux: number; error: number }[] = [];
  for (const star of inRowOrder(stars)) {
    const snr = star.flux / star.fluxError;
    if (!(snr > leastSnrForGrowth)) continue;
    const x = (star.x + 0.5) * side - 0.5;
    const y = (star.y + 0.5) * side - 0.5;
    const middleX = Math.round(x);
    const middleY = Math.round(y);
    cutStamp(source, middleX, middleY, radius, star.sky / (side * side), stamp);
    if (!growthCurve(stamp, x - middleX, y - middleY, within, fraction, growth)) continue;
    star.hfr = growth.hfr / side;
    if (star.flags !== 0) continue;
    const foreign = foreignLight(stamp, x - middleX, y - middleY, within, star.sigma / side, star.flux);
    if (Number.isNaN(foreign)) continue;
    const ratio = (growth.flux - foreign) / fraction / star.flux;
    star.apertureRatio = ratio;
    used.push({ ratio, flux: star.flux, error: star.fluxError });
  }
  if (used.length < enoughAlone) {
    const tight = tightRatios(stars, image, within, fraction, stamp);
    if (tight.length > used.length) {
      used.length = 0;
      for (const { star, ratio } of tight) {
        star.apertureRatio = ratio;
        used.push({ ratio, flux: star.flux, error: star.fluxError });
      }
    }
  }
  const factor =
    fluxScale(
      used.map(({ ratio }) => ratio),
      used.map(({ flux }) => flux),
      used.map(({ error }) => error),
    )?.scale ?? 1;
  if (!(factor > 0.5 && factor < 3)) return;
  for (const star of stars) {
    star.flux *= factor;
    star.fluxError *= factor;
    if (star.apertureRatio !== undefined) star.apertureRatio /= factor;
  }
}

/**
 * Marks what is clearly wider than the typical star: by 1.4 times and more, allowing for the error of a faint star's
 * width, which is about 1 / SNR.
 */
export function markExtended(stars: readonly Star[], { xx, xy, yy }: Light): void {
  const typical = xx * yy - xy * xy;
  for (const star of stars) {
    const wider = ((star.xx * star.yy - star.xy * star.xy) / typical) ** 0.25;
    if (wider > 1.4 + star.fluxError / Math.abs(star.flux) && (star.flags & starFlags.saturated) === 0)
      star.flags |= starFlags.extended;
  }
}
