import { median } from "../numbers/quantiles.js";
import { foreignLight } from "./foreign-light.js";
import { type Growth, growthCurve } from "./growth-curve.js";
import { cutStamp, type Source, type Stamp } from "./stamp.js";
import { axesOf, inRowOrder, type Star, starFlags } from "./star.js";

const leastSnr = 12;
/** The stamp reaches so much farther than the aperture, to see whether a star stands on a glow. */
const beyond = 1.3;
/** Drawn-out stars do not fit into it: it must hold so many of their standard deviations along the longer axis. */
const leastSigmas = 3;
/** Half of the usual aperture must not be smaller than this, in pixels. */
const smallest = 4;

/**
 * Light in half of the usual aperture, and what lies beyond, divided by the star's flux; stars that a neighbour's light
 * reaches count too. For frames whose stars are so wide that hardly one stands alone in the usual aperture.
 * @param image - as for the growth curves
 * @param outer - radius of the usual aperture, pixels of `image`
 * @param fraction - share of a star's light within it
 */
export function tightRatios(
  stars: readonly Star[],
  { source, side }: { readonly source: Source; readonly side: number },
  outer: number,
  fraction: number,
  stamp: Stamp,
): { readonly star: Star; readonly ratio: number }[] {
  const within = outer / 2;
  if (within < smallest || within < leastSigmas * side * longerSigma(stars)) return [];
  const share = withinHalf(fraction);
  const growth: Growth = { hfr: Number.NaN, flux: Number.NaN };
  const found: { star: Star; ratio: number }[] = [];
  for (const star of inRowOrder(stars)) {
    if ((star.flags & ~starFlags.crowded) !== 0 || !(star.flux > leastSnr * star.fluxError)) continue;
    const x = (star.x + 0.5) * side - 0.5;
    const y = (star.y + 0.5) * side - 0.5;
    const [middleX, middleY] = [Math.round(x), Math.round(y)];
    cutStamp(source, middleX, middleY, Math.ceil(beyond * within) + 1, star.sky / (side * side), stamp);
    if (!growthCurve(stamp, x - middleX, y - middleY, within, share, growth)) continue;
    const foreign = foreignLight(stamp, x - middleX, y - middleY, within, star.sigma / side, star.flux);
    if (!Number.isNaN(foreign)) found.push({ star, ratio: (growth.flux - foreign) / share / star.flux });
  }
  return found;
}

/** Median of the stars' longer axes, as a standard deviation. */
function longerSigma(stars: readonly Star[]): number {
  const shaped = stars.filter((star) => (star.flags & ~starFlags.crowded) === 0);
  return median(shaped.map(({ xx, xy, yy }) => axesOf(xx, xy, yy).major));
}

/** Share of a Moffat profile's light within 1.5 FWHM, from that within 3: 1 - (1 + k r^2)^(1 - beta). */
function withinHalf(fraction: number): number {
  const enclosed = (beta: number, fwhms: number) => 1 - (1 + 4 * (2 ** (1 / beta) - 1) * fwhms * fwhms) ** (1 - beta);
  // No wings are known: out of focus, about as little lies beyond as neighbours put in.
  if (!(fraction < 1)) return 1;
  let [low, high] = [1.05, 20];
  for (let step = 0; step < 40; step++) {
    const beta = (low + high) / 2;
    if (enclosed(beta, 3) < fraction) low = beta;
    else high = beta;
  }
  return enclosed(low, 1.5);
}
