import { steadyAngleDeg, steadyCosDeg, steadyExp, steadyLog, steadyPow, steadySinDeg } from "../numbers/steady-math.js";
import type { FramePlan } from "./frame-plan.js";
import type { Scenario } from "./scenario-shape.js";

/** An elliptical Moffat profile: light a square pixel is `peak` (1 + a dx2 + 2 b dx dy + c dy2)^-beta for light 1. */
export interface Profile {
  readonly a: number;
  readonly b: number;
  readonly c: number;
  readonly peak: number;
  /** Scale radius along the longer axis, px. */
  readonly longRadius: number;
  readonly table: Float64Array;
  readonly beta: number;
}

/** Steps of a Moffat table a scale radius, and how far it reaches. */
const [stepsPerRadius, tableReach] = [250, 90];
const tables = new Map<number, Float64Array>();

/** (1 + r2)^-beta at steps of r: with straight lines between, right to 3e-5 of the peak. */
function moffatTable(beta: number): Float64Array {
  const known = tables.get(beta);
  if (known !== undefined) return known;
  const table = new Float64Array(stepsPerRadius * tableReach + 2);
  for (let i = 0; i < table.length; i++) {
    const r = i / stepsPerRadius;
    table[i] = steadyExp(-beta * steadyLog(1 + r * r));
  }
  if (tables.size > 40) tables.clear();
  tables.set(beta, table);
  return table;
}

/** The profile at a squared distance in scale radii. */
export function moffatAt(table: Float64Array, r2: number): number {
  const at = Math.sqrt(r2) * stepsPerRadius;
  const i = at | 0;
  if (i >= table.length - 1) return 0;
  return table[i]! + (at - i) * (table[i + 1]! - table[i]!);
}

/**
 * The stars' profile at a place of the field, before defocus and movement: seeing and optics, wider and drawn out
 * towards the corners.
 * @param x - from the frame's centre, px
 */
export function profileAt({ telescope, camera }: Scenario, plan: FramePlan, x: number, y: number): Profile {
  const half = 0.5 * Math.sqrt(camera.width * camera.width + camera.height * camera.height);
  const radius = Math.sqrt(x * x + y * y);
  const part = (radius / half) * (radius / half);
  const fwhm = plan.fwhmPx * (1 + (telescope.cornerWidening - 1) * part);
  // Ellipticities add like vectors of double angle.
  const [cr, sr] = radius > 0 ? [(x * x - y * y) / (radius * radius), (2 * x * y) / (radius * radius)] : [0, 0];
  const ex =
    telescope.ellipticity * steadyCosDeg(2 * telescope.ellipticityAngleDeg) + telescope.cornerEllipticity * part * cr;
  const ey =
    telescope.ellipticity * steadySinDeg(2 * telescope.ellipticityAngleDeg) + telescope.cornerEllipticity * part * sr;
  const ellipticity = Math.min(0.9, Math.sqrt(ex * ex + ey * ey));
  return ellipse(fwhm, 1 - ellipticity, 0.5 * steadyAngleDeg(ey, ex), plan.beta);
}

/**
 * An elliptical Moffat profile.
 * @param fwhm - geometric mean of the widths along both axes, px
 * @param axisRatio - short by long axis
 */
export function ellipse(fwhm: number, axisRatio: number, angleDeg: number, beta: number): Profile {
  const perFwhm = 1 / (2 * Math.sqrt(steadyPow(2, 1 / beta) - 1));
  const long = (fwhm * perFwhm) / Math.sqrt(axisRatio);
  const short = fwhm * perFwhm * Math.sqrt(axisRatio);
  const [cos, sin] = [steadyCosDeg(angleDeg), steadySinDeg(angleDeg)];
  const [l, s] = [1 / (long * long), 1 / (short * short)];
  return {
    a: cos * cos * l + sin * sin * s,
    b: cos * sin * (l - s),
    c: sin * sin * l + cos * cos * s,
    peak: (beta - 1) / (Math.PI * long * short),
    longRadius: long,
    table: moffatTable(beta),
    beta,
  };
}
