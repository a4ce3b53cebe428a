import type { FrameTable } from "../terms/frame-table.js";
import type { MeasuredSymptom } from "../terms/symptoms.js";
import type { Expectations } from "./expectations.js";
import type { Group } from "./groups.js";
import type { Limits } from "./limits.js";
import type { Worth } from "./worth.js";

/**
 * What can be seen in each sub of a group, compared with the good part of it after known physics is taken out: star
 * width grows as airmass^0.6, starlight falls with the air, noise and unevenness grow with the sky's brightness.
 * @returns symptoms of each row of the group, in the order of the registry
 */
export function symptomsOf(
  table: FrameTable,
  group: Group,
  worth: Worth,
  usual: Expectations,
  limits: Limits,
): MeasuredSymptom[][] {
  const sigmas = limits.standsOut;
  const { starlight } = worth;
  const most = usual.stars.expected;
  // A sub with as many stars as the others that shows none of theirs points elsewhere. (Pieces of a streak pass as stars.)
  const mostMatched = starlight.from.filter((from) => from === "stars").length > 0.6 * group.rows.length;
  const rich = Math.max(0.6 * most, 2 * limits.starCount.enough);
  const fewStars = Math.min(limits.starCount.symptom * most, most - 3 * Math.sqrt(Math.max(0, most)));
  const { expected: dark, sigma: darkSigma } = usual.background;
  const darkNoise = usual.noise.reduce((least, n) => Math.min(least, n), Number.POSITIVE_INFINITY);
  const brighter =
    usual.variancePerAdu > 0
      ? ((limits.background.symptom - 1) * darkNoise * darkNoise) / usual.variancePerAdu
      : (limits.background.symptom - 1) * dark;
  const bright = dark + Math.max(brighter, sigmas * darkSigma);
  const width = usual.width.expected;
  const widest = Math.max(width * limits.fwhm.symptom, width + sigmas * usual.width.sigma);
  const noisy = Math.max(limits.noise.symptom, usual.noiseExcess.expected + sigmas * usual.noiseExcess.sigma);
  const round = usual.eccentricity.expected;
  const drawnOut = Math.max(limits.eccentricity.symptom, round + limits.eccentricity.aboveGroup);

  return group.rows.map((row, i) => {
    const found: MeasuredSymptom[] = [];
    const note = (
      code: MeasuredSymptom["code"],
      column: keyof FrameTable & string,
      value: number,
      expected: number,
      limit: number,
    ) => found.push({ code, value, expected, limit, column });

    const stars = table.starCount[row];
    if (stars < fewStars) note("few-stars", "starCount", stars, most, fewStars);

    const transparency = starlight.transparency[i];
    const faint = Math.min(limits.transparency.symptom, 1 - sigmas * starlight.transparencyError[i]);
    if (transparency < faint) note("faint-stars", "transparency", transparency, 1, faint);

    const background = table.backgroundAdu[row];
    if (background > bright) note("bright-background", "backgroundAdu", background, dark, bright);

    const noise = table.noiseAdu[row];
    const expectedNoise = usual.noise[i];
    if (noise > noisy * expectedNoise)
      note("noisy-background", "noiseAdu", noise, expectedNoise, noisy * expectedNoise);

    const gradient = table.backgroundGradient[row];
    const even = usual.gradient[i] + usual.gradientExcess.expected;
    const uneven = even + Math.max(limits.gradient.symptom, sigmas * usual.gradientExcess.sigma, 0.5 * even);
    if (gradient > uneven) note("uneven-background", "backgroundGradient", gradient, even, uneven);

    // The limit is given at the sub's own airmass, so that the words make sense beside the measured width.
    const seeing = usual.seeing[i];
    if (table.fwhmPx[row] > widest * seeing)
      note("wide-stars", "fwhmPx", table.fwhmPx[row], width * seeing, widest * seeing);

    const eccentricity = table.eccentricity[row];
    if (eccentricity > drawnOut) note("elongated-stars", "eccentricity", eccentricity, round, drawnOut);

    if (table.streaks[row] > 0) note("streak", "streaks", table.streaks[row], 0, 1);
    const full = table.saturatedFraction[row];
    if (full > limits.saturated.symptom) note("saturated", "saturatedFraction", full, 0, limits.saturated.symptom);
    const blocked = table.blockedFraction[row];
    if (blocked > limits.blocked.symptom) note("blocked-area", "blockedFraction", blocked, 0, limits.blocked.symptom);

    const shift = Math.hypot(table.shiftXPx[row], table.shiftYPx[row]);
    const overlap = worth.overlap[i];
    // In the direction of the shift: how far the field may move until that part of it is left.
    const far = (shift * (1 - limits.overlap.symptom)) / (1 - overlap);
    if (overlap < limits.overlap.symptom) note("shifted-field", "shiftXPx", shift, 0, far);
    else if (Number.isNaN(shift) && mostMatched && stars > rich && !(table.streaks[row] > 0))
      note("shifted-field", "shiftXPx", Number.NaN, 0, Number.NaN);
    return found;
  });
}
