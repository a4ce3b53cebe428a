import { closePeaks } from "./close-peaks.js";
import { markMended, mendHotPixel } from "./hot-pixels.js";
import { detectionSigma } from "./levels.js";
import { looks, type PeakLooks } from "./peak-looks.js";
import { type Changed, NearPeaks, peaksAgain } from "./peaks-again.js";
import { starFlags } from "./star.js";
import { numbersPerStar, peakNumber } from "./star-records.js";
import { type Shape, sigmaOf } from "./typical-shape.js";

/** Stars of a smaller standard deviation, pixels, are blurred by the sums; those so many sigma bright have neighbours. */
const sharp = 2;
const bright = 40;

/**
 * A hot pixel outshines a faint star near it, or draws a bright one aside. Where one was found it is mended in the
 * copy of the frame that is measured, and what stands out there is looked at anew, once.
 * @returns the peaks that were looked at again; their records follow those of `peaks`
 */
export function lookBesideHotPixels(looking: PeakLooks, peaks: Int32Array, guess: Shape, radius: number): Int32Array {
  const { source, sums, side } = looking.level;
  const { kinds, peaks: room } = looking.space;
  const none = peaks.subarray(0, 0);
  // Sums are sums of fewer hot pixels, and finer levels may still want them as they are.
  if (side > 1 || room.buffer !== peaks.buffer) return none;
  const changes: Changed[] = [];
  const mended: number[] = [];
  for (let i = 0; i < peaks.length; i++) {
    if (kinds[i] !== looks.hot) continue;
    const { sky, sigma } = looking.record(i);
    mended.push(mendHotPixel(source, sums, peaks[i]!, sky));
    changes.push({ at: peaks[i]!, level: 4 * sky, sigma: 2 * sigma });
  }
  if (mended.length === 0) return none;
  // Beyond, a pixel has no weight.
  const reach = (3 * Math.sqrt(Math.max(guess.xx, guess.yy)) + 1) / 2;
  const stale = new Uint8Array(peaks.length);
  const found = peaksAgain(sums, changes, peaks, reach, detectionSigma, stale);
  const again = room.subarray(peaks.length, peaks.length + found.length);
  again.set(found.subarray(0, again.length));
  for (let i = 0; i < stale.length; i++) if (stale[i] === 1) kinds[i] = looks.nothing;
  const hotBefore = looking.hotPixels;
  looking.atAll(again, peaks.length, guess, radius);
  // What looks hot again is what a first hot pixel left: it was counted.
  looking.hotPixels = hotBefore;
  const stars = Array.from(again, (_, i) => looking.record(peaks.length + i)).filter(
    (_, i) => kinds[peaks.length + i] === looks.star,
  );
  markMended(stars, mended, source.width, 2 * sigmaOf(guess));
  return again;
}

/**
 * Looks for faint stars near bright ones where stars are so sharp that sums and their smoothing blur them.
 * @param again - peaks looked at after `peaks`; their records follow
 * @returns those, and after them the new ones, whose records follow in turn
 */
export function lookBesideStars(
  looking: PeakLooks,
  peaks: Int32Array,
  again: Int32Array,
  guess: Shape,
  radius: number,
): Int32Array {
  const { sums, side } = looking.level;
  const { kinds, peaks: room } = looking.space;
  if (side > 1 || room.buffer !== peaks.buffer || sigmaOf(guess) > sharp) return again;
  const known = peaks.length + again.length;
  const close: number[] = [];
  const star = looking.record(0);
  const { stars } = looking.space;
  // A first guess of what is bright, without asking for each star's noise.
  const least = (bright * looking.background.medianSigma) / 4;
  for (let i = 0; i < known; i++) {
    if (kinds[i] !== looks.star || !(stars[i * numbersPerStar + peakNumber]! > least)) continue;
    star.moveTo(i);
    if (star.peak > bright * star.sigma && (star.flags & starFlags.saturated) === 0) closePeaks(sums, star, close);
  }
  const nearOld = new NearPeaks(peaks, sums);
  const nearAgain = new NearPeaks(again, sums);
  const unknown = close.filter((at) => !nearOld.has(at) && !nearAgain.has(at));
  const found = Int32Array.from(new Set(unknown)).sort();
  const more = room.subarray(known, known + found.length);
  more.set(found.subarray(0, more.length));
  looking.atAll(more, known, guess, radius);
  return room.subarray(peaks.length, known + more.length);
}
