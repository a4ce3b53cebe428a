import { type StarList, starFlags } from "./star.js";

/** At most so many stars of a sub are remembered for matching. */
export const mostBrightStars = 300;
const leastSnr = 5;
const columns = ["xPx", "yPx", "fluxAdu", "fluxErrorAdu", "apertureRatio"] as const;
const bytesPerStar = 4 * columns.length + 1;

/**
 * The brightest unsaturated, complete stars of a sub for matching, packed: columns of single precision (x, y, flux,
 * its error and the aperture's ratio), then the flags. Matching always works on these, so a remembered sub gives what a measured one gave.
 */
export function packBrightStars(stars: StarList): Uint8Array {
  const bad = starFlags.saturated | starFlags.incomplete | starFlags.extended;
  const chosen = Array.from({ length: stars.count }, (_, i) => i)
    .filter((i) => (stars.flags[i]! & bad) === 0 && stars.snr[i]! > leastSnr)
    .sort((a, b) => stars.fluxAdu[b]! - stars.fluxAdu[a]! || a - b)
    .slice(0, mostBrightStars);
  const packed = new Uint8Array(chosen.length * bytesPerStar);
  columns.forEach((name, c) => {
    const column = new Float32Array(packed.buffer, 4 * c * chosen.length, chosen.length);
    for (let i = 0; i < chosen.length; i++) column[i] = stars[name]?.[chosen[i]!] ?? Number.NaN;
  });
  const flags = packed.subarray(4 * columns.length * chosen.length);
  for (let i = 0; i < chosen.length; i++) flags[i] = stars.flags[chosen[i]!]!;
  return packed;
}

/** How many stars are packed. */
export const brightStarCount = (packed: Uint8Array): number => packed.length / bytesPerStar;

/** The stars that {@link packBrightStars} packed, brightest first; columns that are not remembered are NaN. */
export function unpackBrightStars(packed: Uint8Array): StarList {
  const count = brightStarCount(packed);
  // A copy, as single precision needs bytes that start at a multiple of four; slice() of a Node buffer would be none.
  const bytes = new Uint8Array(packed);
  const column = (c: number) => Float64Array.from(new Float32Array(bytes.buffer, 4 * c * count, count));
  const [xPx, yPx, fluxAdu, fluxErrorAdu, apertureRatio] = [column(0), column(1), column(2), column(3), column(4)];
  const unknown = new Float64Array(count).fill(Number.NaN);
  return {
    count,
    xPx,
    yPx,
    fluxAdu,
    fluxErrorAdu,
    apertureRatio,
    snr: fluxAdu.map((flux, i) => flux / fluxErrorAdu[i]!),
    flags: bytes.slice(4 * columns.length * count),
    peakAdu: unknown,
    hfrPx: unknown,
    semiMajorPx: unknown,
    semiMinorPx: unknown,
    angleDeg: unknown,
  };
}
