import { steadyCosDeg, steadyExp, steadySinDeg } from "../numbers/steady-math.js";
import type { FramePlan } from "./frame-plan.js";
import type { Scenario } from "./scenario-shape.js";

/** Where the field was during parts of the exposure. */
export interface Stance {
  /** Share of the light. */
  readonly weight: number;
  readonly xPx: number;
  readonly yPx: number;
  /** Cosine and sine of the position angle of the frame's +y. */
  readonly cosUp: number;
  readonly sinUp: number;
}

/** The field's course during an exposure as a list of stances: drift and rotation, shake, a knock. */
export function stancesOf({ camera }: Scenario, plan: FramePlan): Stance[] {
  const { drift, shake, bump } = plan.disturbance;
  const [fromDeg, toDeg] = plan.parallacticFromToDeg;
  const half = 0.5 * Math.sqrt(camera.width * camera.width + camera.height * camera.height);
  const [dx, dy] = [drift.xPxPerS * plan.exposureS, drift.yPxPerS * plan.exposureS];
  const length = Math.sqrt(dx * dx + dy * dy) + half * Math.abs(toDeg - fromDeg) * 0.017453292519943295;
  // A step of a third of the profile's width cannot be seen in the sum.
  const steps = length < 0.15 ? 1 : Math.max(2, Math.min(600, Math.ceil(length / (0.3 * plan.fwhmPx))));
  const stances: Stance[] = [];
  for (let step = 0; step < steps; step++) {
    const t = (step + 0.5) / steps - 0.5;
    const up = (fromDeg + toDeg) / 2 + t * (toDeg - fromDeg);
    const stance = { weight: 1 / steps, xPx: t * dx, yPx: t * dy, cosUp: steadyCosDeg(up), sinUp: steadySinDeg(up) };
    // The knock came after a share of the exposure.
    const before = bump === null ? 0 : Math.max(0, Math.min(1, (bump.share - step / steps) * steps));
    if (bump !== null && before > 0)
      stances.push({ ...stance, weight: before / steps, xPx: stance.xPx + bump.xPx, yPx: stance.yPx + bump.yPx });
    if (before < 1) stances.push({ ...stance, weight: (1 - before) / steps });
  }
  if (shake === null || shake.px < 0.05) return stances;
  const [c, s] = [steadyCosDeg(shake.angleDeg) * shake.px, steadySinDeg(shake.angleDeg) * shake.px];
  const points = shakePoints(shake.px / plan.fwhmPx);
  return stances.flatMap((stance) =>
    points.map(({ z, weight }) => ({
      ...stance,
      weight: stance.weight * weight,
      xPx: stance.xPx + z * c,
      yPx: stance.yPx + z * s,
    })),
  );
}

/** A normal distribution of standard deviation 1 as weighted points, so close that the sum looks smooth. */
function shakePoints(spreadInWidths: number): readonly { z: number; weight: number }[] {
  const n = Math.max(9, Math.min(200, 2 * Math.ceil((2.6 * spreadInWidths) / 0.3) + 1));
  const points = Array.from({ length: n }, (_, i) => {
    const z = -2.6 + (5.2 * i) / (n - 1);
    return { z, weight: steadyExp(-0.5 * z * z) };
  });
  const [sum, squares] = points.reduce(([w, ww], p) => [w + p.weight, ww + p.weight * p.z * p.z], [0, 0]);
  const spread = Math.sqrt(squares / sum);
  return points.map(({ z, weight }) => ({ z: z / spread, weight: weight / sum }));
}

/**
 * The blur disk of a defocused telescope as points of equal light: a ring when the aperture is obstructed. One point
 * when in focus.
 */
export function blurDisk({ telescope }: Scenario, plan: FramePlan): readonly (readonly [number, number])[] {
  const { defocusPx, fwhmPx } = plan;
  if (defocusPx < 0.3) return [[0, 0]];
  const relative = defocusPx / (0.4 * fwhmPx);
  const n = Math.max(7, Math.min(300, Math.ceil(relative * relative)));
  const inner = telescope.obstruction * telescope.obstruction;
  // Points of a sunflower: the golden angle from one to the next, equal area for each.
  return Array.from({ length: n }, (_, i) => {
    const radius = 0.5 * defocusPx * Math.sqrt(inner + ((1 - inner) * (i + 0.5)) / n);
    const turn = i * 137.50776405003785;
    return [radius * steadyCosDeg(turn), radius * steadySinDeg(turn)] as const;
  });
}
