import { steadyExp } from "../numbers/steady-math.js";
import type { FramePlan } from "./frame-plan.js";
import type { Scenario } from "./scenario-shape.js";
import { cloudyNoise } from "./value-noise.js";

/** What clouds and haze do across a frame, on a coarse grid of points from edge to edge. */
export interface VeilMap {
  readonly columns: number;
  readonly rows: number;
  /** Light of stars and object that comes through. */
  readonly through: Float32Array;
  /** Sky relative to the clear dark sky, to be added to what comes through: light thrown back from below. */
  readonly thrownBack: Float32Array;
  readonly meanThrough: number;
  readonly meanThrownBack: number;
}

const [columns, rows] = [25, 17];
/** Moments of the exposure at which moving clouds are looked at. */
const moments = 5;

/** The veil in front of a frame; null when the sky is clear. */
export function veilMap(scenario: Scenario, plan: FramePlan): VeilMap | null {
  const { veils } = plan.disturbance;
  if (veils.length === 0) return null;
  const { width, height } = scenario.camera;
  const arcminPerPx = plan.rates.pixelScaleArcsec / 60;
  const through = new Float32Array(columns * rows);
  const thrownBack = new Float32Array(columns * rows);
  let [sum, sumBack] = [0, 0];
  for (let r = 0; r < rows; r++)
    for (let c = 0; c < columns; c++) {
      let [light, back] = [0, 0];
      for (let m = 0; m < moments; m++) {
        const minute = plan.minute + ((m - 2) / moments) * (plan.exposureS / 60);
        let passed = 1;
        for (const veil of veils) {
          const x = ((c / (columns - 1)) * width * arcminPerPx + veil.windArcminPerMin * minute) / veil.patchArcmin;
          const y =
            ((r / (rows - 1)) * height * arcminPerPx + 0.35 * veil.windArcminPerMin * minute) / veil.patchArcmin;
          const noise = veil.patchiness > 0 ? cloudyNoise(scenario.seed + 31 * veil.pattern, x, y, 4) : 0.5;
          const thick = 1 - veil.patchiness + veil.patchiness * Math.max(0, 1 + 7 * (noise - 0.5));
          const one = steadyExp(-0.9210340371976184 * veil.dimmingMag * thick);
          back += (passed * (1 - one) * veil.brightening) / moments;
          passed *= one;
        }
        light += passed / moments;
      }
      const at = r * columns + c;
      through[at] = light;
      thrownBack[at] = back;
      sum += light;
      sumBack += back;
    }
  const n = columns * rows;
  return { columns, rows, through, thrownBack, meanThrough: sum / n, meanThrownBack: sumBack / n };
}

/** Value of a grid at a pixel, straight between its points. */
export function gridAt(
  { columns, rows }: VeilMap,
  grid: Float32Array,
  x: number,
  y: number,
  width: number,
  height: number,
): number {
  const gx = Math.max(0, Math.min(columns - 1.000001, (x / (width - 1)) * (columns - 1)));
  const gy = Math.max(0, Math.min(rows - 1.000001, (y / (height - 1)) * (rows - 1)));
  const [i, j] = [Math.floor(gx), Math.floor(gy)];
  const [u, v] = [gx - i, gy - j];
  const at = j * columns + i;
  return (
    (grid[at]! * (1 - u) + grid[at + 1]! * u) * (1 - v) +
    (grid[at + columns]! * (1 - u) + grid[at + columns + 1]! * u) * v
  );
}
