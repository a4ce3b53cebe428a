import { gaussianPerStep, gaussianTable } from "./gaussian-table.js";
import { localShapes, type Shape } from "./local-shape.js";
import { cutStamp, mostStampRadius, type Source, type Stamp } from "./stamp.js";
import { inRowOrder, type Star } from "./star.js";
import type { Light } from "./starlight.js";

/** Numbers of a star in the queue; the kernel knows their order. */
const queued = 12;

/**
 * Measures each star's light with an elliptical Gaussian of the shape that stars have around its place as weight
 * ({@link localShapes}): the estimate with the least noise, linear in the star's light whatever its brightness, so that
 * fluxes of one frame compare with another's. One shape for the whole frame would lose light where the field's turning
 * or the optics draw stars out, and differently in each frame.
 */
export function measureFluxes(stars: readonly Star[], source: Source, light: Light, stamp: Stamp): void {
  const shapeAt = localShapes(stars, light);
  const inRows = inRowOrder(stars);
  const { queue, kernels, out } = stamp;
  const { values, width, height, mosaic } = source;
  if (kernels === null || !(values instanceof Uint16Array) || values.buffer !== queue.buffer) {
    for (const star of inRows) measureAlone(star, source, shapeAt(star.x, star.y), light.perValue, stamp);
    return;
  }
  const atOnce = Math.floor(queue.length / queued);
  for (let from = 0; from < inRows.length; from += atOnce) {
    const count = Math.min(atOnce, inRows.length - from);
    for (let i = 0, at = 0; i < count; i++, at += queued) {
      const { x, y, sky } = inRows[from + i]!;
      const { xx, xy, yy } = shapeAt(x, y);
      queue[at] = x;
      queue[at + 1] = y;
      queue[at + 2] = xx;
      queue[at + 3] = xy;
      queue[at + 4] = yy;
      queue[at + 5] = 2 * Math.PI * Math.sqrt(xx * yy - xy * xy);
      const [cellX, cellY] = [Math.round(x) / 2, Math.round(y) / 2];
      for (let channel = 0; channel < 4; channel++)
        queue[at + 6 + channel] = mosaic === null ? sky : sky + mosaic.offsets[channel]!.within(cellX, cellY);
    }
    for (let channel = 0; channel < 4; channel++) out[channel] = mosaic === null ? 1 : mosaic.balance[channel]!;
    kernels.lightUnder16(values.byteOffset, width, height, queue.byteOffset, count, out.byteOffset);
    for (let i = 0, at = 0; i < count; i++, at += queued) {
      const star = inRows[from + i]!;
      if (queue[at + 3] === 1) fill(star, queue[at + 5]!, queue[at]!, queue[at + 1]!, queue[at + 2]!, light.perValue);
      else measureAlone(star, source, shapeAt(star.x, star.y), light.perValue, stamp);
    }
  }
}

function measureAlone(star: Star, source: Source, { xx, xy, yy }: Shape, perValue: number, stamp: Stamp): void {
  const determinant = xx * yy - xy * xy;
  const radius = Math.min(mostStampRadius, Math.ceil(3 * Math.sqrt(Math.max(xx, yy))) + 1);
  const middleX = Math.round(star.x);
  const middleY = Math.round(star.y);
  cutStamp(source, middleX, middleY, radius, star.sky, stamp);
  lightUnder(stamp, star.x - middleX, star.y - middleY, yy / determinant, -xy / determinant, xx / determinant);
  const { out } = stamp;
  fill(star, 2 * Math.PI * Math.sqrt(determinant), out[0]!, out[1]!, out[2]!, perValue);
}

/** Flux and its error from sums of weight x value, weight squared and weight cubed. */
function fill(star: Star, area: number, light1: number, weight2: number, weight3: number, perValue: number): void {
  const amplitude = light1 / weight2;
  const variance =
    (star.sigma * star.sigma) / weight2 + (perValue * Math.max(0, amplitude) * weight3) / (weight2 * weight2);
  star.flux = area * amplitude;
  star.fluxError = area * Math.sqrt(variance);
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
