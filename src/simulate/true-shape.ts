import { steadyAngleDeg, steadyCosDeg, steadySinDeg } from "../numbers/steady-math.js";
import type { FramePlan } from "./frame-plan.js";
import { blurDisk, stancesOf } from "./movement.js";
import { moffatAt, type Profile, profileAt } from "./profile.js";
import type { Scenario } from "./scenario-shape.js";

/** What a star looks like in a frame, without noise. */
export interface TrueShape {
  /** Diameter of the circle with the area of the half-maximum contour, px; pixel width not included. */
  readonly fwhmPx: number;
  /** 1 - b/a of the area inside that contour, by its second moments. */
  readonly ellipticity: number;
  /** Direction of its long axis, from +x towards +y, 0 to 180. */
  readonly angleDeg: number;
  /** Radius that encloses half of the light; pixel width included, as it is measured. */
  readonly hfrPx: number;
  /** Noise-equivalent area: 1 / sum of the squared profile, px2. */
  readonly noiseAreaPx2: number;
}

const directions = 48;
const cosines = Float64Array.from({ length: directions }, (_, i) => steadyCosDeg((i * 360) / directions));
const sines = Float64Array.from({ length: directions }, (_, i) => steadySinDeg((i * 360) / directions));

/** A profile at the points of light that movement and defocus spread it over, about their centroid. */
interface Spread {
  readonly profile: Profile;
  readonly x: Float64Array;
  readonly y: Float64Array;
  readonly weight: Float64Array;
  readonly reachPx: number;
}

/**
 * The mean shape over the middles of 3 x 3 zones of the field: seeing, optics, defocus and movement together. The
 * contour is looked for from the star's centroid outward, so that trails and rings have a width too.
 */
export function trueShape(scenario: Scenario, plan: FramePlan): TrueShape {
  const { width, height } = scenario.camera;
  const sum = { fwhm: 0, ex: 0, ey: 0, hfr: 0, area: 0 };
  for (let j = -1; j <= 1; j++)
    for (let i = -1; i <= 1; i++) {
      const spread = spreadAt(scenario, plan, (i * width) / 3, (j * height) / 3);
      const contour = halfContour(spread);
      const { hfrPx, noiseAreaPx2 } = enclosed(spread);
      sum.fwhm += contour.fwhmPx / 9;
      sum.ex += contour.ex / 9;
      sum.ey += contour.ey / 9;
      sum.hfr += hfrPx / 9;
      sum.area += noiseAreaPx2 / 9;
    }
  const angleDeg = 0.5 * steadyAngleDeg(sum.ey, sum.ex);
  return {
    fwhmPx: sum.fwhm,
    ellipticity: Math.sqrt(sum.ex * sum.ex + sum.ey * sum.ey),
    angleDeg: angleDeg < 0 ? angleDeg + 180 : angleDeg,
    hfrPx: sum.hfr,
    noiseAreaPx2: sum.area,
  };
}

function spreadAt(scenario: Scenario, plan: FramePlan, atX: number, atY: number): Spread {
  const stances = stancesOf(scenario, plan);
  const disk = blurDisk(scenario, plan);
  const middle = stances[stances.length >> 1]!;
  const points: { x: number; y: number; weight: number }[] = [];
  for (const stance of stances) {
    const cos = stance.cosUp * middle.cosUp + stance.sinUp * middle.sinUp;
    const sin = stance.sinUp * middle.cosUp - stance.cosUp * middle.sinUp;
    for (const [dx, dy] of disk)
      points.push({
        x: atX * (cos - 1) + atY * sin + stance.xPx + dx,
        y: -atX * sin + atY * (cos - 1) + stance.yPx + dy,
        weight: stance.weight / disk.length,
      });
  }
  const cx = points.reduce((s, p) => s + p.weight * p.x, 0);
  const cy = points.reduce((s, p) => s + p.weight * p.y, 0);
  const far2 = points.reduce((most, p) => Math.max(most, (p.x - cx) * (p.x - cx) + (p.y - cy) * (p.y - cy)), 0);
  const profile = profileAt(scenario, plan, atX, atY);
  return {
    profile,
    x: Float64Array.from(points, (p) => p.x - cx),
    y: Float64Array.from(points, (p) => p.y - cy),
    weight: Float64Array.from(points, (p) => p.weight),
    reachPx: Math.sqrt(far2) + 2 * profile.longRadius,
  };
}

function lightAt({ profile, x, y, weight }: Spread, px: number, py: number): number {
  const { a, b, c, table, peak } = profile;
  let sum = 0;
  for (let i = 0; i < x.length; i++) {
    const [dx, dy] = [px - x[i]!, py - y[i]!];
    sum += weight[i]! * moffatAt(table, a * dx * dx + 2 * b * dx * dy + c * dy * dy);
  }
  return peak * sum;
}

function halfContour(spread: Spread): { fwhmPx: number; ex: number; ey: number } {
  const step = Math.min(0.25, spread.reachPx / 60);
  const steps = Math.ceil(spread.reachPx / step);
  const samples = new Float64Array(directions * (steps + 1));
  let most = 0;
  for (let d = 0; d < directions; d++)
    for (let s = 0; s <= steps; s++) {
      const light = lightAt(spread, s * step * cosines[d]!, s * step * sines[d]!);
      samples[d * (steps + 1) + s] = light;
      most = Math.max(most, light);
    }
  const half = most / 2;
  let [area, xx, xy, yy] = [0, 0, 0, 0];
  for (let d = 0; d < directions; d++) {
    const row = d * (steps + 1);
    let s = steps;
    while (s >= 0 && samples[row + s]! < half) s--;
    if (s < 0) continue;
    const [inside, outside] = [samples[row + s]!, samples[row + s + 1] ?? 0];
    const r = step * (s + (inside - half) / Math.max(inside - outside, 1e-300));
    const [c, si] = [cosines[d]!, sines[d]!];
    area += r * r;
    xx += r * r * r * r * c * c;
    xy += r * r * r * r * c * si;
    yy += r * r * r * r * si * si;
  }
  // Area of the contour: the sum of sectors r^2 dtheta / 2.
  const fwhmPx = 2 * Math.sqrt(area / directions);
  const difference = Math.sqrt((xx - yy) * (xx - yy) + 4 * xy * xy);
  const total = xx + yy;
  const ratio = total > 0 ? Math.sqrt(Math.max(0, (total - difference) / (total + difference))) : 1;
  const part = difference > 0 ? (1 - ratio) / difference : 0;
  return { fwhmPx, ex: part * (xx - yy), ey: part * 2 * xy };
}

/** Middles of nine equal parts of a pixel, which stand for the pixel. */
const pixelParts = [-1 / 3, 0, 1 / 3];

function enclosed(spread: Spread): { hfrPx: number; noiseAreaPx2: number } {
  const step = Math.min(0.2, spread.reachPx / 50);
  let [light, squares, hfrPx] = [0, 0, Number.NaN];
  for (let s = 0; s * step < 12 * spread.reachPx; s++) {
    const r = (s + 0.5) * step;
    let [mean, meanSquare] = [0, 0];
    for (let d = 0; d < directions; d += 2) {
      let value = 0;
      for (const v of pixelParts)
        for (const u of pixelParts) value += lightAt(spread, r * cosines[d]! + u, r * sines[d]! + v) / 9;
      mean += (2 * value) / directions;
      meanSquare += (2 * value * value) / directions;
    }
    const ring = 2 * Math.PI * r * step;
    if (light + ring * mean >= 0.5 && Number.isNaN(hfrPx)) {
      const [inner, outer] = [s * step, (s + 1) * step];
      const share = (0.5 - light) / (ring * mean);
      hfrPx = Math.sqrt(inner * inner + share * (outer * outer - inner * inner));
    }
    light += ring * mean;
    squares += ring * meanSquare;
    if (!Number.isNaN(hfrPx) && r > 2.5 * hfrPx) break;
  }
  return { hfrPx, noiseAreaPx2: 1 / squares };
}
