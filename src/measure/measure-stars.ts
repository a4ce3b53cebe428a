import { descendingOrder } from "../numbers/order.js";
import { median } from "../numbers/quantiles.js";
import { commonElongation, elongationVector } from "./elongation.js";
import type { Found } from "./find-stars.js";
import { measureFluxes } from "./fluxes.js";
import type { Level, Levels } from "./levels.js";
import { moffatEnclosed } from "./moffat-fit.js";
import { ringWidth } from "./ring-width.js";
import type { Source, Stamp } from "./stamp.js";
import { type Star, starFlags } from "./star.js";
import { StarGrid } from "./star-grid.js";
import { measureWidth, type StarWidth } from "./star-width.js";
import { markCrowded, markExtended, measureGrowth } from "./starlight.js";
import { vectorOf, zonesOf } from "./zones.js";

const fwhmPerSigma = 2.3548;
/** Wings wider than these are not believed when light beyond the outermost radius is added. */
const leastBetaOfWings = 2;

/** What the stars of a frame say together; lengths in pixels of the level. */
export interface Starlight {
  readonly width: StarWidth;
  readonly hfr: number;
  readonly elongation: { readonly eccentricity: number; readonly elongationAngleDeg: number };
  /** Stars fit for statistics. */
  readonly good: readonly Star[];
}

/**
 * Measures light, width and shape of the stars that were found; the stars themselves are filled in.
 * @param perValue - variance that each ADU of starlight adds
 * @param notes - receives what should be known
 */
export function measureStars(
  found: Found,
  levels: Levels,
  level: Level,
  stamp: Stamp,
  perValue: number,
  notes: string[],
): Starlight {
  const { source } = level;
  const { stars, typical } = found;
  const nothing = { fwhm: Number.NaN, fwhmError: Number.NaN, beta: Number.NaN, fits: [], notes: [] };
  if (stars.length === 0) {
    notes.push("no stars were found: widths and shapes could not be measured");
    const elongation = { eccentricity: Number.NaN, elongationAngleDeg: Number.NaN };
    return { width: nothing, hfr: Number.NaN, elongation, good: [] };
  }
  const sigma = (typical.xx * typical.yy - typical.xy ** 2) ** 0.25;
  measureFluxes(stars, source, { perValue, ...typical }, stamp);
  markExtended(stars, { perValue, ...typical });
  markCrowded(stars, gridOf(stars, source), 3.5 * fwhmPerSigma * sigma);
  const good = goodStars(stars, 15, notes);
  const bright = good.filter((star) => star.peak > 10 * star.sigma || star.flux > 30 * star.fluxError);
  let width = measureWidth(bright, source, sigma, perValue, stamp);
  notes.push(...width.notes);
  const rings = bright.slice(0, 30).map((star) => ringWidth(star, source, stamp));
  const isRing = rings.length > 0 && 2 * rings.filter((ring) => ring > 0).length > rings.length;
  if (isRing) {
    width = { ...nothing, fwhm: median(rings) };
    notes.push("stars are rings, far out of focus: fwhmPx is the outer width of the ring at half of its brightness");
  } else if (Number.isNaN(width.fwhm)) {
    width = { ...nothing, fwhm: fwhmPerSigma * Math.sqrt(Math.max(0.05, sigma * sigma - 1 / 12)) };
    notes.push("no star is bright enough for a profile: fwhmPx is from the moments of all stars");
  }
  const recorded = Math.sqrt(width.fwhm ** 2 + fwhmPerSigma ** 2 / 12);
  // A ring ends where it ends; a star has wings.
  const outer = isRing ? 0.75 * recorded : Math.max(5, 3 * recorded);
  const fraction = width.beta > 1 ? moffatEnclosed(outer / recorded, Math.max(leastBetaOfWings, width.beta)) : 1;
  measureGrowth(stars, finerImage(levels, level), outer, fraction, stamp);
  const clear = good.filter((star) => star.hfr > 0 && star.flux > 50 * star.fluxError);
  const radii = clear.length >= 10 ? clear : good.filter((star) => star.hfr > 0);
  const hfr = median(radii.map((star) => star.hfr));
  if (Number.isNaN(hfr)) notes.push("no star is bright enough for a half-flux radius");
  const shaped =
    width.fits.length > 0
      ? width.fits.map(({ star, fit }) => ({ star, vector: elongationVector(fit.fwhmMajor, fit.fwhmMinor, fit.angle) }))
      : good.filter((star) => star.flux > 20 * star.fluxError).map((star) => ({ star, vector: vectorOf(star) }));
  const byZone = zonesOf(shaped, ({ star }) => star, source.width, source.height);
  const groups = shaped.length >= 45 ? byZone : [shaped];
  const { eccentricity, angleDeg } = commonElongation(groups.map((group) => group.map(({ vector }) => vector)));
  return { width, hfr, elongation: { eccentricity, elongationAngleDeg: angleDeg }, good };
}

function gridOf(stars: readonly Star[], { width, height }: Source): StarGrid {
  const grid = new StarGrid(width, height, 32, stars.length);
  for (let i = 0; i < stars.length; i++) grid.add(stars[i]!.x, stars[i]!.y);
  return grid;
}

/** Unsaturated, complete, lonely stars with a shape, brightest first; crowded ones too where there are too few. */
function goodStars(stars: readonly Star[], enough: number, notes: string[]): Star[] {
  const bright = stars.filter((star) => star.flux > 12 * star.fluxError);
  const fluxes = new Float32Array(bright.length);
  for (let i = 0; i < fluxes.length; i++) fluxes[i] = bright[i]!.flux;
  const order = descendingOrder(fluxes);
  const byFlux = bright.map((_, i) => bright[order[i]!]!);
  const good = byFlux.filter((star) => star.flags === 0);
  if (good.length >= enough) return good;
  const crowded = byFlux.filter((star) => (star.flags & ~starFlags.crowded) === 0);
  if (crowded.length > good.length) notes.push("few stars stand alone: crowded ones were measured too");
  return crowded;
}

/** Wide stars' growth curves are taken one level finer than their shapes, so that coarse pixels do not blur them. */
function finerImage(levels: Levels, { side, source }: Level): { readonly source: Source; readonly side: number } {
  return side === 1 ? { source, side: 1 } : { source: levels.level(Math.log2(side) - 1).source, side: 2 };
}
