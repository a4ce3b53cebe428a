import { steadyExp, steadyLog } from "../numbers/steady-math.js";
import type { FramePlan } from "./frame-plan.js";
import { blurDisk, stancesOf } from "./movement.js";
import { moffatAt, type Profile, profileAt } from "./profile.js";
import type { Scenario } from "./scenario-shape.js";
import type { SkyStar } from "./star-field.js";

/** A picture in the making: light in electrons, rows from the bottom up as stored. */
export interface Canvas {
  readonly width: number;
  readonly height: number;
  readonly light: Float32Array;
  /** Which colour a pixel takes, by (y & 1) * 2 + (x & 1): 0 red, 1 green, 2 blue; null: mono. */
  readonly mosaic: readonly [number, number, number, number] | null;
}

/** A star as it lies in a frame. */
export interface PlacedStar {
  /** At mid-exposure, px from the middle of the first pixel. */
  readonly x: number;
  readonly y: number;
  /** All its light, electrons, before vignetting and obstruction. */
  readonly electrons: number;
  readonly colour: SkyStar["colour"];
  readonly profile: Profile;
}

/** Light below this much a pixel is left out at the outer edge of a star, electrons. */
const faintWing = 0.03;
const [farthestPx, fewestElectrons] = [140, 4];

/** Where the stars of a field stand in a frame, and how bright they are through the air (clouds not counted). */
export function placeStars(scenario: Scenario, plan: FramePlan, field: readonly SkyStar[]): PlacedStar[] {
  const { width, height } = scenario.camera;
  const { pixelScaleArcsec, starOfMag0 } = plan.rates;
  const stances = stancesOf(scenario, plan);
  const middle = stances[stances.length >> 1]!;
  const all = starOfMag0 * plan.exposureS * plan.air * plan.even;
  const placed: PlacedStar[] = [];
  for (const { eastArcsec, northArcsec, mag, colour } of field) {
    const electrons = all * steadyExp(-0.9210340371976184 * mag);
    if (electrons < fewestElectrons) continue;
    const x = (northArcsec * middle.sinUp - eastArcsec * middle.cosUp) / pixelScaleArcsec + plan.shiftXPx;
    const y = (northArcsec * middle.cosUp + eastArcsec * middle.sinUp) / pixelScaleArcsec + plan.shiftYPx;
    const margin = 160;
    if (Math.abs(x) > width / 2 + margin || Math.abs(y) > height / 2 + margin) continue;
    const profile = profileAt(scenario, plan, x, y);
    placed.push({ x: x + (width - 1) / 2, y: y + (height - 1) / 2, electrons, colour, profile });
  }
  return placed;
}

/**
 * Adds stars to a picture, each at every stance of the exposure and every point of the blur disk.
 * @param throughAt - the part of a star's light that comes through clouds, by its place in the frame
 */
export function drawStars(
  scenario: Scenario,
  plan: FramePlan,
  stars: readonly PlacedStar[],
  canvas: Canvas,
  throughAt: (x: number, y: number) => number,
): void {
  const stances = stancesOf(scenario, plan);
  const disk = blurDisk(scenario, plan);
  const middle = stances[stances.length >> 1]!;
  const [cx, cy] = [(canvas.width - 1) / 2 + plan.shiftXPx, (canvas.height - 1) / 2 + plan.shiftYPx];
  for (const star of stars) {
    const electrons = star.electrons * throughAt(star.x, star.y);
    if (electrons < fewestElectrons) continue;
    const [fromX, fromY] = [star.x - cx, star.y - cy];
    for (const stance of stances) {
      // Turn from the middle stance to this one: the difference of two angles by their cosines and sines.
      const cos = stance.cosUp * middle.cosUp + stance.sinUp * middle.sinUp;
      const sin = stance.sinUp * middle.cosUp - stance.cosUp * middle.sinUp;
      const x = cx + fromX * cos + fromY * sin + stance.xPx;
      const y = cy - fromX * sin + fromY * cos + stance.yPx;
      const share = (electrons * stance.weight) / disk.length;
      for (const [dx, dy] of disk) drawStar(canvas, x + dx, y + dy, share, star.profile, star.colour);
    }
  }
}

// Gauss-Legendre points of a pixel: exact for polynomials up to the fifth degree.
const outer = 0.3872983346207417;
const [outerWeight, innerWeight] = [5 / 18, 8 / 18];

/** Adds one profile, integrated over each pixel: by 3 x 3 points near its middle, by the Laplacian in its wings. */
export function drawStar(
  { width, height, light, mosaic }: Canvas,
  x: number,
  y: number,
  electrons: number,
  profile: Profile,
  colour: SkyStar["colour"] = [1, 1, 1],
): void {
  const { a, b, c, table, beta, longRadius } = profile;
  const peak = electrons * profile.peak;
  const far = peak > faintWing ? Math.sqrt(steadyExp(steadyLog(peak / faintWing) / beta) - 1) : 0;
  const reach = Math.min(farthestPx, Math.max(3, longRadius * far));
  const core = 3 * longRadius + 2;
  const core2 = core * core;
  const [left, right] = [Math.max(0, Math.ceil(x - reach)), Math.min(width - 1, Math.floor(x + reach))];
  const [low, high] = [Math.max(0, Math.ceil(y - reach)), Math.min(height - 1, Math.floor(y + reach))];
  const colourOf = mosaic === null ? null : mosaic.map((channel) => colour[channel]!);
  for (let row = low; row <= high; row++) {
    const dy = row - y;
    for (let column = left, at = row * width + left; column <= right; column++, at++) {
      const dx = column - x;
      const far2 = dx * dx + dy * dy;
      if (far2 > reach * reach) continue;
      let value: number;
      if (far2 > core2) {
        // The mean over a pixel is the value in its middle plus a 24th of the Laplacian there.
        const [gx, gy] = [a * dx + b * dy, b * dx + c * dy];
        const per = 1 / (1 + gx * dx + gy * dy);
        const bend = beta * (4 * (beta + 1) * (gx * gx + gy * gy) * per - 2 * (a + c)) * per;
        value = moffatAt(table, gx * dx + gy * dy) * (1 + bend / 24);
      } else {
        value = 0;
        for (let j = -1; j <= 1; j++) {
          const v = dy + j * outer;
          const weight = j === 0 ? innerWeight : outerWeight;
          const [u0, u2] = [dx - outer, dx + outer];
          value +=
            weight *
            (outerWeight * moffatAt(table, a * u0 * u0 + 2 * b * u0 * v + c * v * v) +
              innerWeight * moffatAt(table, a * dx * dx + 2 * b * dx * v + c * v * v) +
              outerWeight * moffatAt(table, a * u2 * u2 + 2 * b * u2 * v + c * v * v));
        }
      }
      const tint = colourOf === null ? 1 : colourOf[((row & 1) << 1) | (column & 1)]!;
      light[at] = light[at]! + peak * value * tint;
    }
  }
}
