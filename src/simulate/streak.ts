import { steadyCosDeg, steadyExp, steadySinDeg } from "../numbers/steady-math.js";
import type { Streak } from "./events.js";
import type { Canvas } from "./render-stars.js";

/** Distance between the lights of an aircraft, and between its flashes, px. */
const [lightsApartPx, flashesApartPx] = [7, 64];

/** Adds a satellite's line, or an aircraft's two lines with flashes, from edge to edge. */
export function drawStreak(canvas: Canvas, streak: Streak, fwhmPx: number, passed: number): void {
  const electrons = streak.electronsPerPx * passed;
  if (streak.label === "satellites") {
    drawLine(canvas, streak, 0, () => electrons, fwhmPx);
    return;
  }
  drawLine(canvas, streak, -lightsApartPx / 2, () => 0.5 * electrons, fwhmPx);
  drawLine(canvas, streak, lightsApartPx / 2, () => 0.5 * electrons, fwhmPx);
  const flash = (along: number) => {
    const t = (along - flashesApartPx * Math.round(along / flashesApartPx)) / 2.5;
    return 3 * electrons * steadyExp(-t * t);
  };
  drawLine(canvas, streak, 0, flash, fwhmPx);
}

/** A line with a Gaussian cross-section, shifted sideways; `lightAt` gives electrons a pixel of length. */
function drawLine(
  { width, height, light }: Canvas,
  { xPx, yPx, angleDeg }: Streak,
  sidewaysPx: number,
  lightAt: (along: number) => number,
  fwhmPx: number,
): void {
  const [cos, sin] = [steadyCosDeg(angleDeg), steadySinDeg(angleDeg)];
  const [x0, y0] = [(width - 1) / 2 + xPx - sidewaysPx * sin, (height - 1) / 2 + yPx + sidewaysPx * cos];
  // The pixel adds its own width (1/12 px2) to the profile's.
  const variance = (fwhmPx * fwhmPx) / 5.545177444479562 + 1 / 12;
  const peak = 1 / Math.sqrt(2 * Math.PI * variance);
  const reach = 4.5 * Math.sqrt(variance);
  for (let y = 0; y < height; y++) {
    // Only the columns near the line are looked at.
    const middle = Math.abs(sin) > 1e-6 ? x0 + ((y - y0) * cos) / sin : x0;
    const half = Math.abs(sin) > 1e-6 ? reach / Math.abs(sin) : width * 2;
    const [from, to] = [Math.max(0, Math.ceil(middle - half)), Math.min(width - 1, Math.floor(middle + half))];
    for (let x = from; x <= to; x++) {
      const off = (y - y0) * cos - (x - x0) * sin;
      if (Math.abs(off) > reach) continue;
      const along = (x - x0) * cos + (y - y0) * sin;
      const at = y * width + x;
      light[at] = light[at]! + lightAt(along) * peak * steadyExp((-0.5 * off * off) / variance);
    }
  }
}
