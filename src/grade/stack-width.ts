/** Exponent of the Moffat profile that stands for every sub's stars (Moffat 1969); seeing-limited stars have 2.5 to 4. */
const beta = 3;
const shape = 4 * (2 ** (1 / beta) - 1);

/**
 * FWHM of stars in a stack of subs of different widths: that of the weighted sum of their profiles, not the mean of the
 * widths. A sub with very wide stars so lowers the peak and adds a halo, but hardly widens the half-maximum.
 * @param fwhmPx - of each sub, pixel width removed; subs without one are left out
 * @param weights - of each sub
 * @returns NaN when no width is known
 */
export function stackFwhmPx(fwhmPx: ArrayLike<number>, weights: ArrayLike<number>): number {
  const parts = partsOf(fwhmPx, weights);
  if (parts.length === 0) return Number.NaN;
  const lightAt = (radius2: number) => {
    let light = 0;
    for (const { weight, peak } of parts) light += peak * (1 + (shape * radius2 * peak) / weight) ** -beta;
    return light;
  };
  const half = parts.reduce((sum, { peak }) => sum + peak, 0) / 2;
  const radii = parts.map(({ weight, peak }) => Math.sqrt(weight / peak) / 2);
  let [low, high] = [Math.min(...radii), Math.max(...radii)];
  while (high - low > 1e-6 * high) {
    const middle = (low + high) / 2;
    if (lightAt(middle * middle) > half) low = middle;
    else high = middle;
  }
  return low + high;
}

/** Subs of about one width (to 0.5 %), so that thousands of subs are as quick as hundreds. */
function partsOf(fwhmPx: ArrayLike<number>, weights: ArrayLike<number>): { weight: number; peak: number }[] {
  const parts = new Map<number, { weight: number; peak: number }>();
  for (let i = 0; i < fwhmPx.length; i++) {
    if (!(fwhmPx[i] > 0 && Number.isFinite(fwhmPx[i])) || !(weights[i] > 0)) continue;
    const key = Math.round(200 * Math.log(fwhmPx[i]));
    const part = parts.get(key) ?? { weight: 0, peak: 0 };
    part.weight += weights[i];
    // The peak of a profile with this much light; weight / peak is the square of the width.
    part.peak += weights[i] / (fwhmPx[i] * fwhmPx[i]);
    parts.set(key, part);
  }
  return [...parts.values()];
}
