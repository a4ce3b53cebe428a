/** What is special about a star; bits of `flags`. */
export const starFlags = {
  /** A pixel near the sensor's limit. */
  saturated: 1,
  /** Cut by the frame's edge, or with missing pixels. */
  incomplete: 2,
  /** Another star's light reaches it. */
  crowded: 4,
  /** The shape could not be measured. */
  noShape: 8,
  /** Clearly wider than the frame's stars: a galaxy, a knot of nebula, a blend. Not counted as a star. */
  extended: 16,
} as const;

/** A star while it is being measured; lengths in pixels of the level, values in its sums. */
export interface Star {
  x: number;
  y: number;
  xx: number;
  xy: number;
  yy: number;
  peak: number;
  sky: number;
  sigma: number;
  flux: number;
  fluxError: number;
  hfr: number;
  /** Light in a wide aperture divided by `flux`; absent: not measured. */
  apertureRatio?: number;
  flags: number;
}

/** The stars of a frame, brightest first, as columns. NaN: could not be measured. */
export interface StarList {
  readonly count: number;
  /** To the right; 0 is the centre of the first pixel. */
  readonly xPx: Float64Array;
  /** In stored row order; 0 is the centre of the first row. */
  readonly yPx: Float64Array;
  /** All of the star's light, sky taken off. */
  readonly fluxAdu: Float64Array;
  readonly fluxErrorAdu: Float64Array;
  /**
   * Light in a wide aperture, less what clearly is a neighbour's, divided by `fluxAdu`: near 1, other where a star's
   * shape is not its surroundings'. NaN: not measured; absent: not known.
   */
  readonly apertureRatio?: Float64Array;
  /** Brightest pixel, sky taken off. */
  readonly peakAdu: Float64Array;
  /** Signal to noise of the matched filter. */
  readonly snr: Float64Array;
  /** Radius with half of the light as recorded: of the star's profile averaged over a square pixel. */
  readonly hfrPx: Float64Array;
  /** Standard deviation of the matched Gaussian along its longer and shorter axis, as recorded. */
  readonly semiMajorPx: Float64Array;
  readonly semiMinorPx: Float64Array;
  /** Direction of the longer axis from +x towards +y, 0 to 180. */
  readonly angleDeg: Float64Array;
  /** Bits of {@link starFlags}. */
  readonly flags: Uint8Array;
}

/** Standard deviations along the axes of a covariance, and the direction of the longer one in radians. */
export function axesOf(xx: number, xy: number, yy: number): { major: number; minor: number; angle: number } {
  const middle = (xx + yy) / 2;
  const difference = (xx - yy) / 2;
  // Math.hypot guards against overflow, which these cannot reach, and is ten times slower.
  const half = Math.sqrt(difference * difference + xy * xy);
  return {
    major: Math.sqrt(middle + half),
    minor: Math.sqrt(Math.max(0, middle - half)),
    angle: 0.5 * Math.atan2(2 * xy, xx - yy),
  };
}

/** The stars row after row of pixels, in which order their pixels come from the processor's cache. */
export function inRowOrder(stars: readonly Star[]): Star[] {
  let rows = 0;
  for (const { y } of stars) if (y >= rows) rows = Math.floor(y) + 1;
  const first = new Int32Array(rows + 1);
  for (const { y } of stars) first[rowOf(y) + 1]!++;
  for (let row = 0; row < rows; row++) first[row + 1]! += first[row]!;
  const sorted = stars.slice();
  for (const star of stars) sorted[first[rowOf(star.y)]!++] = star;
  return sorted;
}

const rowOf = (y: number) => (y > 0 ? Math.floor(y) : 0);

/** An angle in radians as degrees from 0 to 180. */
export const directionDeg = (angle: number) => ((((angle * 180) / Math.PI) % 180) + 180) % 180;

/**
 * Turns stars measured on a level into columns in pixels and ADU of the frame.
 * @param side - pixels of the frame on a side of the level's pixel
 */
export function starList(stars: readonly Star[], side: number): StarList {
  const count = stars.length;
  const column = () => new Float64Array(count);
  const list = {
    count,
    xPx: column(),
    yPx: column(),
    fluxAdu: column(),
    fluxErrorAdu: column(),
    apertureRatio: column(),
    peakAdu: column(),
    snr: column(),
    hfrPx: column(),
    semiMajorPx: column(),
    semiMinorPx: column(),
    angleDeg: column(),
    flags: new Uint8Array(count),
  };
  for (let i = 0; i < count; i++) {
    const star = stars[i]!;
    const { major, minor, angle } = axesOf(star.xx, star.xy, star.yy);
    list.xPx[i] = (star.x + 0.5) * side - 0.5;
    list.yPx[i] = (star.y + 0.5) * side - 0.5;
    list.fluxAdu[i] = star.flux;
    list.fluxErrorAdu[i] = star.fluxError;
    list.apertureRatio[i] = star.apertureRatio ?? Number.NaN;
    list.peakAdu[i] = star.peak / (side * side);
    list.snr[i] = star.flux / star.fluxError;
    list.hfrPx[i] = star.hfr * side;
    list.semiMajorPx[i] = major * side;
    list.semiMinorPx[i] = minor * side;
    list.angleDeg[i] = directionDeg(angle);
    list.flags[i] = star.flags;
  }
  return list;
}
