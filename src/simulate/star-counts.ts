import type { Conditions } from "./conditions.js";
import type { FramePlan } from "./frame-plan.js";
import { obstructionMask } from "./obstruction-mask.js";
import type { RenderedFrame } from "./render-frame.js";
import { vignette } from "./render-frame.js";
import type { Scenario } from "./scenario-shape.js";
import { gridAt } from "./veil-map.js";

/**
 * How many stars of a frame reach a signal-to-noise ratio under the best possible weight:
 * S / sqrt(S + A V), with A the noise-equivalent area of the profile and V the variance of a pixel's background.
 */
export function starCounts(
  scenario: Scenario,
  plan: FramePlan,
  { stars, veil }: RenderedFrame,
  { shape, varianceRate }: Conditions,
): { starsSnr5: number; starsSnr10: number } {
  const { width, height } = scenario.camera;
  const { obstruction } = plan.disturbance;
  const mask = obstruction === null ? null : obstructionMask(obstruction, scenario.seed, width, height);
  const background = shape.noiseAreaPx2 * varianceRate * plan.exposureS;
  const [cx, cy] = [(width - 1) / 2, (height - 1) / 2];
  let [starsSnr5, starsSnr10] = [0, 0];
  for (const { x, y, electrons } of stars) {
    if (x < 0 || y < 0 || x > width - 1 || y > height - 1) continue;
    const part = ((x - cx) * (x - cx) + (y - cy) * (y - cy)) / (cx * cx + cy * cy);
    const passed = veil === null ? 1 : gridAt(veil, veil.through, x, y, width, height);
    const free = mask === null ? 1 : 1 - mask[Math.round(y) * width + Math.round(x)]!;
    const light = electrons * passed * free * vignette(part, scenario.telescope.vignetting);
    const snr = light / Math.sqrt(light + background);
    if (snr >= 5) starsSnr5++;
    if (snr >= 10) starsSnr10++;
  }
  return { starsSnr5, starsSnr10 };
}
