import { steadyLog } from "../numbers/steady-math.js";
import type { Label } from "./event-shapes.js";
import type { FramePlan } from "./frame-plan.js";
import { obstructionMask } from "./obstruction-mask.js";
import type { Scenario } from "./scenario-shape.js";
import { type TrueShape, trueShape } from "./true-shape.js";
import { veilMap } from "./veil-map.js";

/** What a frame is worth, before a pixel is made. */
export interface Conditions {
  readonly shape: TrueShape;
  /** Starlight relative to a clear sky, without extinction: clouds, haze, dew. Mean over the frame. */
  readonly transparency: number;
  /** The same with extinction, relative to no air at all. */
  readonly throughput: number;
  /** Sky in the frame's middle, electrons/s/px, clouds included. */
  readonly skyEPerSPx: number;
  /** Variance rate of the background: sky + dark + read noise^2 / exposure, electrons^2/s/px. */
  readonly varianceRate: number;
  readonly blockedFraction: number;
  /** Part of the frame that shows the field as planned. */
  readonly overlap: number;
  /** Label by label, the logarithm of the factor by which it lowers the effective exposure for point sources. */
  readonly losses: ReadonlyMap<Label, number>;
}

/** Works out what a frame is worth and what costs it most. */
export function conditionsOf(scenario: Scenario, plan: FramePlan): Conditions {
  const { camera, telescope } = scenario;
  const { sky, disturbance, filterTerms, place } = plan;
  const veil = veilMap(scenario, plan);
  const [passed, back] = [veil?.meanThrough ?? 1, (veil?.meanThrownBack ?? 0) * sky.dark];
  const transparency = passed * plan.even;
  const clear = sky.dark + sky.moon + sky.twilight;
  const skyEPerSPx = clear * passed + back;
  const readRate = (camera.readNoiseE * camera.readNoiseE) / plan.exposureS;
  const varianceRate = skyEPerSPx + plan.darkEPerS + readRate;
  const shape = trueShape(scenario, plan);
  const { obstruction, shift, jumped } = disturbance;
  let blocked = 0;
  if (obstruction !== null)
    for (const part of obstructionMask(obstruction, scenario.seed, camera.width, camera.height)) blocked += part;
  const blockedFraction = blocked / (camera.width * camera.height);
  const overlap =
    Math.max(0, 1 - Math.abs(shift.xPx) / camera.width) * Math.max(0, 1 - Math.abs(shift.yPx) / camera.height);

  const losses = new Map<Label, number>();
  const loses = (label: Label, loss: number) => {
    if (loss > 0.01 || disturbance.labels.has(label)) losses.set(label, (losses.get(label) ?? 0) + Math.max(0, loss));
  };
  const less = (extra: number) => steadyLog(varianceRate / Math.max(varianceRate - extra, 1e-12));
  const { labels } = disturbance;
  const veilLoss = -2 * steadyLog(Math.max(passed, 1e-9)) + Math.max(0, steadyLog(skyEPerSPx / clear));
  if (labels.has("cloud")) loses("cloud", veilLoss);
  else if (labels.has("haze")) loses("haze", veilLoss);
  loses("twilight", less(sky.twilight * passed));
  loses("moonlight", less(sky.moon * passed));
  const magnitudesOfAir = scenario.site.extinctionMag * filterTerms.extinctionFactor * (place.airmass - 1);
  loses(
    "low-altitude",
    2 * 0.9210340371976184 * magnitudesOfAir +
      less(Math.max(0, sky.dark - sky.darkAtZenith) * passed) +
      1.2 * steadyLog(Math.max(1, place.airmass)),
  );
  loses("fan-off", less(plan.darkEPerS - plan.usualDarkEPerS));
  if (disturbance.dew !== null)
    loses("dew", 2 * 0.9210340371976184 * disturbance.dew.dimmingMag + 2 * steadyLog(disturbance.dew.widening));
  if (blockedFraction > 0) loses("obstruction", -steadyLog(Math.max(1 - blockedFraction, 1e-9)));
  if (jumped) loses("pointing-jump", -steadyLog(Math.max(overlap, 1e-9)));
  // What widens or draws out the stars: the width without one of them, against the width with all.
  const wider = (label: Label, without: FramePlan) => {
    const alone = trueShape(scenario, without);
    // A trail costs more than its area: an aligned stack shows it.
    const drawn = Math.max(0, shape.ellipticity - alone.ellipticity);
    loses(label, 2 * steadyLog(shape.fwhmPx / alone.fwhmPx) + 2 * drawn);
  };
  // A line is mostly rejected when subs are stacked; nominal, so that it counts when nothing else costs more.
  if (labels.has("satellites")) loses("satellites", 0.12);
  if (labels.has("aircraft")) loses("aircraft", 0.3);
  if (labels.has("focus-drift")) wider("focus-drift", { ...plan, defocusPx: filterTerms.focusOffsetPx });
  if (labels.has("wind")) wider("wind", { ...plan, disturbance: { ...disturbance, shake: null } });
  if (labels.has("bump")) wider("bump", { ...plan, disturbance: { ...disturbance, bump: null } });
  if (labels.has("tracking-drift"))
    wider("tracking-drift", { ...plan, disturbance: { ...disturbance, drift: { xPxPerS: 0, yPxPerS: 0 } } });
  const [fromDeg, toDeg] = plan.parallacticFromToDeg;
  if (telescope.mount === "alt-azimuth" && Math.abs(toDeg - fromDeg) > 0.05) {
    const up = (fromDeg + toDeg) / 2;
    wider("field-rotation", { ...plan, parallacticFromToDeg: [up, up] });
  }
  for (const label of plan.labels) if (!losses.has(label)) losses.set(label, 0);
  return {
    shape,
    transparency,
    throughput: transparency * plan.air,
    skyEPerSPx,
    varianceRate,
    blockedFraction,
    overlap,
    losses,
  };
}
