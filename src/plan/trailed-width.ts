/** Exponent of the profile that stands for stars: wings as of seeing and common optics. */
const beta = 3;
/** Half the width at half maximum of (1 + x^2)^-beta. */
const halfWidth = Math.sqrt(2 ** (1 / beta) - 1);
const steps = 24;

/** Widths at half maximum, along the trail and across it. */
export interface TrailedWidth {
  readonly alongPx: number;
  readonly acrossPx: number;
}

/**
 * Widths of a round star that moved evenly while it was exposed. Second moments would understate them: light spread
 * evenly over a length has flat tops, and a star's wings add up across the trail.
 * @param fwhmPx - at rest
 * @param lengthPx - of the movement
 */
export function trailedWidth(fwhmPx: number, lengthPx: number): TrailedWidth {
  if (!(lengthPx > 0.01 * fwhmPx)) return { alongPx: fwhmPx, acrossPx: fwhmPx };
  // In units in which the profile is (1 + x^2 + y^2)^-beta.
  const unit = (2 * halfWidth) / fwhmPx;
  const half = (lengthPx * unit) / 2;
  /** Light at a point: Simpson's sum over the movement. */
  const light = (x: number, y: number) => {
    let sum = 0;
    for (let i = 0; i <= steps; i++) {
      const u = x + half * ((2 * i) / steps - 1);
      sum += (i === 0 || i === steps ? 1 : i % 2 === 1 ? 4 : 2) * (1 + u * u + y * y) ** -beta;
    }
    return sum;
  };
  const level = light(0, 0) / 2;
  const widthOf = (at: (r: number) => number) => {
    let [low, high] = [0, half + 4 * halfWidth];
    for (let i = 0; i < 24; i++) {
      const middle = (low + high) / 2;
      if (at(middle) > level) low = middle;
      else high = middle;
    }
    return (low + high) / unit;
  };
  return { alongPx: widthOf((r) => light(r, 0)), acrossPx: widthOf((r) => light(0, r)) };
}
