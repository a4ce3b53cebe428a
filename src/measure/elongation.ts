import { medianAndSigma } from "../numbers/robust.js";

/** Elongation of one star: (a^2 - b^2) / (a^2 + b^2), as a vector at twice the direction of the longer axis. */
export interface ElongationVector {
  readonly cosine: number;
  readonly sine: number;
}

/** Elongation of a set of stars, freed of what noise alone adds. */
export interface Elongation {
  /** sqrt(1 - (b/a)^2); NaN without stars. */
  readonly eccentricity: number;
  /** Direction common to the stars, degrees from +x towards +y, 0 to 180; NaN when there is none. */
  readonly angleDeg: number;
}

/** Vector of a star from the lengths of its axes and the direction of the longer one in radians. */
export function elongationVector(major: number, minor: number, angle: number): ElongationVector {
  const length = (major * major - minor * minor) / (major * major + minor * minor);
  return { cosine: length * Math.cos(2 * angle), sine: length * Math.sin(2 * angle) };
}

/** Eccentricity sqrt(1 - (b/a)^2) of an elongation (a^2 - b^2) / (a^2 + b^2). */
export const eccentricityOf = (elongation: number) => Math.sqrt((2 * elongation) / (1 + elongation));

/**
 * The elongation of stars in groups that may each have their own direction (zones of the frame). Noise makes round
 * stars look elongated, each in its own direction: in a group's median vector it all but cancels, and what is left of
 * its square, known from the scatter in the group, is taken off.
 */
export function commonElongation(groups: readonly (readonly ElongationVector[])[]): Elongation {
  let weighted = 0;
  let count = 0;
  for (const group of groups.filter((g) => g.length >= 3 || groups.length === 1)) {
    const { length2, error2 } = middleOf(group);
    weighted += group.length * (length2 - error2);
    count += group.length;
  }
  if (count === 0) return { eccentricity: Number.NaN, angleDeg: Number.NaN };
  const elongation = Math.min(0.9999, Math.sqrt(Math.max(0, weighted / count)));
  const all = middleOf(groups.flat());
  const directed = all.length2 > 9 * (all.error2 / 2) && elongation > 0;
  const angle = (0.5 * Math.atan2(all.sine, all.cosine) * 180) / Math.PI;
  return { eccentricity: eccentricityOf(elongation), angleDeg: directed ? (angle + 180) % 180 : Number.NaN };
}

/** Median vector, its squared length, and what noise adds to that on average. */
function middleOf(vectors: readonly ElongationVector[]) {
  const values = new Float64Array(vectors.length);
  for (let i = 0; i < values.length; i++) values[i] = vectors[i]!.cosine;
  const cosines = medianAndSigma(values);
  for (let i = 0; i < values.length; i++) values[i] = vectors[i]!.sine;
  const sines = medianAndSigma(values);
  // A median has pi/2 times the variance of a mean.
  const error2 = vectors.length >= 3 ? ((Math.PI / 2) * (cosines.sigma ** 2 + sines.sigma ** 2)) / vectors.length : 0;
  const length2 = cosines.median ** 2 + sines.median ** 2;
  return { cosine: cosines.median, sine: sines.median, length2, error2 };
}
