import { randomStream } from "../numbers/random.js";
import { steadyCosDeg, steadyExp, steadyPow, steadyPow10, steadySinDeg } from "../numbers/steady-math.js";
import type { Label } from "./event-shapes.js";
import { type Disturbance, disturbanceAt, filterAt } from "./events.js";
import type { FilterTerms, HeaderTerms, Night, Scenario, TargetTerms } from "./scenario-shape.js";
import {
  airTransmission,
  type Rates,
  ratesOf,
  type SettledPlace,
  type SkyRates,
  settledPlace,
  skyRates,
} from "./sky-model.js";

/** All that is decided about a frame before a pixel is made. */
export interface FramePlan {
  readonly night: Night;
  readonly header: HeaderTerms;
  /** Within the night, from 0. */
  readonly index: number;
  readonly target: string;
  readonly targetTerms: TargetTerms;
  readonly filter: string;
  readonly filterTerms: FilterTerms;
  readonly startMs: number;
  readonly exposureS: number;
  /** Mid-exposure, minutes after the start of the night. */
  readonly minute: number;
  readonly place: SettledPlace;
  /** Parallactic angle at the start and at the end of the exposure. */
  readonly parallacticFromToDeg: readonly [number, number];
  readonly airC: number;
  readonly sensorC: number;
  readonly rates: Rates;
  readonly sky: SkyRates;
  /** Light that comes through the air, without clouds. */
  readonly air: number;
  /** Light that comes through dew and the slow wander of the air: even over the frame. */
  readonly even: number;
  /** Moffat profile in the middle of the field, without defocus and movement. */
  readonly fwhmPx: number;
  readonly beta: number;
  readonly defocusPx: number;
  /** Dark current, electrons/s/px, and what hot pixels are multiplied by. */
  readonly darkEPerS: number;
  readonly warmth: number;
  /** The same at the sensor's usual temperature. */
  readonly usualDarkEPerS: number;
  /** Displacement of the field at mid-exposure, px. */
  readonly shiftXPx: number;
  readonly shiftYPx: number;
  /** Turn of the field: the position angle of the frame's +y at mid-exposure. */
  readonly upDeg: number;
  readonly disturbance: Disturbance;
  readonly labels: readonly Label[];
}

/**
 * Plans every frame of a night: times, sky, weather, focus, pointing. No pixel is made.
 * @throws CallError when an instant is out of range
 */
export function planNight(scenario: Scenario, night: Night): FramePlan[] {
  const plans: FramePlan[] = [];
  const nightMs = Date.parse(night.startUtc);
  let startMs = nightMs;
  const { air } = night;
  const airC = (minute: number) => air.temperatureC - (air.coolingCPerHour * minute) / 60;
  const seeing = wander(scenario.seed, night.name, "seeing", air.seeingWanderMin);
  const clarity = wander(scenario.seed, night.name, "clarity", air.seeingWanderMin);
  const dither = { x: 0, y: 0 };
  const ditherRandom = randomStream(scenario.seed, night.name, "dither");
  for (let round = 0; round < night.repeat; round++)
    for (const block of night.blocks) {
      startMs += block.pauseMin * 60_000;
      for (let n = 0; n < block.frames; n++) {
        const index = plans.length;
        if (index % scenario.telescope.ditherEvery === 0) {
          const radius = scenario.telescope.ditherPx * Math.sqrt(ditherRandom.uniform());
          const turn = ditherRandom.between(0, 360);
          dither.x = radius * steadyCosDeg(turn);
          dither.y = radius * steadySinDeg(turn);
        }
        const minute = (startMs - nightMs) / 60_000 + block.exposureS / 120;
        const slow = { seeing: seeing(minute), clarity: clarity(minute), dither: { ...dither } };
        plans.push(planFrame(scenario, night, { index, block, startMs, minute, slow, airC }));
        startMs += 1000 * (block.exposureS + night.readOutS);
      }
    }
  return plans;
}

interface Moment {
  readonly index: number;
  readonly block: Night["blocks"][number];
  readonly startMs: number;
  readonly minute: number;
  readonly slow: { readonly seeing: number; readonly clarity: number; readonly dither: { x: number; y: number } };
  readonly airC: (minute: number) => number;
}

function planFrame(scenario: Scenario, night: Night, moment: Moment): FramePlan {
  const { telescope, camera } = scenario;
  const { index, block, startMs, minute, slow, airC } = moment;
  const { exposureS } = block;
  const { filter, labels } = filterAt(night.events, minute, block.filter);
  const [filterTerms, targetTerms] = [scenario.filters[filter]!, scenario.targets[block.target]!];
  const disturbance = disturbanceAt(scenario, night, { index, minute, exposureS }, airC);
  const middleMs = startMs + 500 * exposureS;
  const place = settledPlace(middleMs, scenario, targetTerms);
  const rates = ratesOf(scenario, filterTerms);
  const { dew } = disturbance;
  const seeingArcsec =
    night.air.seeingArcsec * steadyPow(place.airmass, 0.6) * steadyExp(night.air.seeingWander * slow.seeing);
  const seeingPx = seeingArcsec / rates.pixelScaleArcsec;
  const sharp = Math.sqrt(seeingPx * seeingPx + telescope.opticsPx * telescope.opticsPx);
  const usualC = camera.coolingC ?? airC(minute) + camera.aboveAirC;
  const sensorC = Math.round((usualC + disturbance.warmerC + 0.05 * slow.seeing) * 10) / 10;
  const warmthAt = (c: number) => steadyExp((Math.LN2 * (c - camera.darkReferenceC)) / camera.darkDoublingC);
  const jitter = randomStream(scenario.seed, night.name, "jitter", index);
  const altAz = telescope.mount === "alt-azimuth";
  const flipped = !altAz && telescope.meridianFlip === "yes" && place.hourAngleDeg > 0 ? 180 : 0;
  const half = (place.rotationRateDegPerH * exposureS) / 7200;
  const q = place.parallacticAngleDeg;
  const hours = minute / 60;
  return {
    night,
    header: night.header ?? scenario.header,
    index,
    target: block.target,
    targetTerms,
    filter,
    filterTerms,
    startMs,
    exposureS,
    minute,
    place,
    parallacticFromToDeg: altAz ? [q - half, q + half] : [flipped, flipped],
    airC: airC(minute),
    sensorC,
    rates,
    sky: skyRates(place, scenario, filterTerms, rates),
    air: airTransmission(scenario, filterTerms, place.airmass),
    even: steadyPow10(-0.4 * ((dew?.dimmingMag ?? 0) + Math.abs(night.air.transparencyWander * slow.clarity))),
    fwhmPx: sharp * (dew?.widening ?? 1),
    beta: dew?.haloBeta ?? telescope.beta,
    defocusPx: disturbance.defocusPx + filterTerms.focusOffsetPx,
    darkEPerS: camera.darkEPerS * warmthAt(sensorC),
    warmth: warmthAt(sensorC),
    usualDarkEPerS: camera.darkEPerS * warmthAt(usualC),
    shiftXPx:
      slow.dither.x + telescope.driftPxPerHour * hours + disturbance.shift.xPx + telescope.jitterPx * jitter.normal(),
    shiftYPx:
      slow.dither.y + telescope.driftYPxPerHour * hours + disturbance.shift.yPx + telescope.jitterPx * jitter.normal(),
    upDeg: altAz ? q : flipped,
    disturbance,
    labels: [...labels, ...disturbance.labels],
  };
}

/** A slow random course of standard deviation 1: normal numbers at nodes, smooth between them. */
function wander(seed: number, night: string, name: string, minutes: number): (minute: number) => number {
  const node = (n: number) => randomStream(seed, night, "wander", name, n).normal();
  return (minute) => {
    const at = minute / minutes;
    const n = Math.floor(at);
    const t = at - n;
    const ease = t * t * (3 - 2 * t);
    // Between two independent nodes the spread would shrink; this keeps it at 1.
    const keep = Math.sqrt((1 - ease) * (1 - ease) + ease * ease);
    return ((1 - ease) * node(n) + ease * node(n + 1)) / keep;
  };
}
