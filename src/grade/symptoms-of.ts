import { median, quantile } from "../numbers/quantiles.js";
import { medianAndSigma } from "../numbers/robust.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { MeasuredSymptom } from "../terms/symptoms.js";
import type { Group } from "./groups.js";
import type { Limits } from "./limits.js";

/**
 * What can be seen in each sub of a group, compared with the rest of it after known physics is removed
 * (star width grows as airmass^0.6: Fried's seeing law).
 * @returns symptoms of each row of the group, in the order of the registry
 */
export function symptomsOf(table: FrameTable, group: Group, limits: Limits): MeasuredSymptom[][] {
  const column = (
    name: "starCount" | "backgroundAdu" | "noiseAdu" | "eccentricity" | "transparency" | "backgroundGradient",
  ) => Float64Array.from(group.rows, (row) => table[name][row]!);
  const found: MeasuredSymptom[][] = group.rows.map(() => []);
  const note = (
    i: number,
    code: MeasuredSymptom["code"],
    name: string,
    value: number,
    expected: number,
    limit: number,
  ) => found[i]!.push({ code, value, expected, limit, column: name });

  const stars = column("starCount");
  const mostStars = quantile(stars, 0.9);
  const fewStars = limits.starCount.symptom * mostStars;
  each(
    stars,
    (n, i) =>
      n < fewStars &&
      n < mostStars - 3 * Math.sqrt(mostStars) &&
      note(i, "few-stars", "starCount", n, mostStars, fewStars),
  );

  each(
    column("transparency"),
    (t, i) =>
      t < limits.transparency.symptom && note(i, "faint-stars", "transparency", t, 1, limits.transparency.symptom),
  );

  const background = column("backgroundAdu");
  const sky = medianAndSigma(background);
  const brightest = Math.max(sky.median * limits.background.symptom, sky.median + limits.standsOut * sky.sigma);
  each(background, (b, i) => b > brightest && note(i, "bright-background", "backgroundAdu", b, sky.median, brightest));

  const noise = column("noiseAdu");
  const explained = noiseExplained(background, noise);
  each(
    noise,
    (n, i) =>
      n > explained[i]! * limits.noise.symptom &&
      note(i, "noisy-background", "noiseAdu", n, explained[i]!, explained[i]! * limits.noise.symptom),
  );

  const gradient = column("backgroundGradient");
  const even = medianAndSigma(gradient);
  const steep = Math.max(
    limits.gradient.symptom,
    even.median * limits.gradient.ratio,
    even.median + limits.standsOut * even.sigma,
  );
  each(gradient, (g, i) => g > steep && note(i, "uneven-background", "backgroundGradient", g, even.median, steep));

  // The limit is given at the sub's own airmass, so that the words make sense beside the measured width.
  const seeing = Float64Array.from(group.rows, (row) => seeingLaw(table.airmass[row]!));
  const width = Float64Array.from(group.rows, (row, i) => table.fwhmPx[row]! / seeing[i]!);
  const sharp = quantile(width, 0.3);
  const spread = medianAndSigma(width.filter((w) => w <= median(width)));
  const widest = Math.max(
    sharp * limits.fwhm.symptom,
    sharp + limits.standsOut * (Number.isFinite(spread.sigma) ? spread.sigma : 0),
  );
  each(
    width,
    (w, i) => w > widest && note(i, "wide-stars", "fwhmPx", w * seeing[i]!, sharp * seeing[i]!, widest * seeing[i]!),
  );

  const shape = column("eccentricity");
  const round = quantile(shape, 0.3);
  const drawnOut = Math.max(limits.eccentricity.symptom, round + limits.eccentricity.aboveGroup);
  each(shape, (e, i) => e > drawnOut && note(i, "elongated-stars", "eccentricity", e, round, drawnOut));

  group.rows.forEach((row, i) => {
    const streaks = table.streaks[row]!;
    if (streaks > 0) note(i, "streak", "streaks", streaks, 0, 1);
    const full = table.saturatedFraction[row]!;
    if (full > limits.saturated.symptom) note(i, "saturated", "saturatedFraction", full, 0, limits.saturated.symptom);
    const blocked = table.blockedFraction[row]!;
    if (blocked > limits.blocked.symptom)
      note(i, "blocked-area", "blockedFraction", blocked, 0, limits.blocked.symptom);
    const shift = Math.hypot(table.shiftXPx[row]!, table.shiftYPx[row]!);
    const far = limits.shift.symptom * table.width[row]!;
    if (shift > far) note(i, "shifted-field", "shiftXPx", shift, 0, far);
  });
  return found;
}

/** Relative width of stars by airmass, X^0.6 (Kolmogorov seeing); 1 where the airmass is not known. */
const seeingLaw = (airmass: number) => (airmass > 0 ? airmass ** 0.6 : 1);

function each(values: Float64Array, check: (value: number, i: number) => unknown): void {
  for (let i = 0; i < values.length; i++) if (Number.isFinite(values[i])) check(values[i]!, i);
}

/** Noise that the brightness of the background explains: variance = a + b background, by median slope (Theil-Sen). */
function noiseExplained(background: Float64Array, noise: Float64Array): Float64Array {
  const slopes: number[] = [];
  const step = Math.max(1, Math.floor(background.length / 100));
  for (let i = 0; i < background.length; i += step)
    for (let j = i + step; j < background.length; j += step) {
      const db = background[j]! - background[i]!;
      if (db !== 0) slopes.push((noise[j]! ** 2 - noise[i]! ** 2) / db);
    }
  const slope = Math.max(0, slopes.length > 0 ? median(slopes) : 0);
  const base = median(noise.map((n, i) => n * n - slope * background[i]!));
  return noise.map((_, i) => Math.sqrt(Math.max(0, base + slope * background[i]!)));
}
