import type { Obstruction } from "./events.js";
import { cloudyNoise } from "./value-noise.js";

/** The part of a pixel's light that something near the telescope takes away: 0 free, 1 covered. */
export function obstructionMask(
  { side, coverage, softPx, ragged }: Obstruction,
  seed: number,
  width: number,
  height: number,
): Float32Array {
  const mask = new Float32Array(width * height);
  const across = side === "left" || side === "right";
  const length = across ? width : height;
  const soft = Math.max(1, softPx);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const depth = side === "bottom" ? y : side === "top" ? height - 1 - y : side === "left" ? x : width - 1 - x;
      const along = across ? y : x;
      const noise = ragged > 0 ? (cloudyNoise(seed + 77, along / 45, depth / 60, 4) - 0.5) * 1.2 * ragged : 0;
      const t = Math.max(0, Math.min(1, ((coverage + noise) * length - depth) / soft + 0.5));
      mask[y * width + x] = t * t * (3 - 2 * t);
    }
  return mask;
}
