import { type Random, randomStream } from "../numbers/random.js";
import { steadyCosDeg, steadyExp, steadySinDeg } from "../numbers/steady-math.js";
import { type Event, type EventOf, type Label, strengthAt } from "./event-shapes.js";
import type { Night, Scenario } from "./scenario-shape.js";

/** A cloud or veil in front of a frame. */
export interface Veil {
  readonly label: "cloud" | "haze";
  /** Mean dimming, mag. */
  readonly dimmingMag: number;
  readonly patchiness: number;
  readonly patchArcmin: number;
  readonly windArcminPerMin: number;
  readonly brightening: number;
  /** Names the pattern of its patches. */
  readonly pattern: number;
}

/** Something in front of the telescope: the part of the frame behind it. */
export interface Obstruction {
  readonly side: "top" | "bottom" | "left" | "right";
  readonly coverage: number;
  readonly softPx: number;
  readonly ragged: number;
  readonly brightness: number;
}

/** A line across the frame. Positions are from the frame's centre. */
export interface Streak {
  readonly label: "satellites" | "aircraft";
  readonly xPx: number;
  readonly yPx: number;
  readonly angleDeg: number;
  readonly electronsPerPx: number;
}

/** What the events do to one frame. */
export interface Disturbance {
  readonly veils: readonly Veil[];
  readonly dew: { readonly dimmingMag: number; readonly widening: number; readonly haloBeta: number } | null;
  /** Diameter of the blur disk, px. */
  readonly defocusPx: number;
  /** Standard deviation of the shake and its direction. */
  readonly shake: { readonly px: number; readonly angleDeg: number } | null;
  /** Movement during the exposure, px a second. */
  readonly drift: { readonly xPxPerS: number; readonly yPxPerS: number };
  /** A knock during the exposure: where the light went before it, and which part of the light. */
  readonly bump: { readonly xPx: number; readonly yPx: number; readonly share: number } | null;
  /** Displacement of the field at mid-exposure. */
  readonly shift: { readonly xPx: number; readonly yPx: number };
  /** The part of it that is a pointing error. */
  readonly jumped: boolean;
  readonly obstruction: Obstruction | null;
  readonly streaks: readonly Streak[];
  readonly warmerC: number;
  readonly labels: ReadonlySet<Label>;
}

/** When and what is exposed. */
export interface Exposed {
  readonly index: number;
  /** Mid-exposure, minutes after the start of the night. */
  readonly minute: number;
  readonly exposureS: number;
}

/** The filter in front of the sensor: a filter change or a wrong filter counts instead of the plan. */
export function filterAt(
  events: readonly Event[],
  minute: number,
  planned: string,
): { filter: string; labels: Label[] } {
  let filter = planned;
  const labels: Label[] = [];
  for (const event of events)
    if ((event.kind === "filter-change" || event.kind === "wrong-filter") && strengthAt(event, minute) > 0) {
      filter = event.filter;
      labels.push(event.kind);
    }
  return { filter, labels };
}

/**
 * What a night's events do to a frame.
 * @param airC - temperature of the air at a minute of the night
 */
export function disturbanceAt(
  scenario: Scenario,
  night: Night,
  exposed: Exposed,
  airC: (minute: number) => number,
): Disturbance {
  const { minute, exposureS, index } = exposed;
  const state = {
    veils: [] as Veil[],
    dew: null as Disturbance["dew"],
    defocusPx: 0,
    shake: null as Disturbance["shake"],
    drift: { xPxPerS: 0, yPxPerS: 0 },
    bump: null as Disturbance["bump"],
    shift: { xPx: 0, yPx: 0 },
    jumped: false,
    obstruction: null as Obstruction | null,
    streaks: [] as Streak[],
    warmerC: 0,
    labels: new Set<Label>(),
  };
  night.events.forEach((event, e) => {
    if ("frame" in event || event.kind === "filter-change" || event.kind === "wrong-filter") return;
    const random = randomStream(scenario.seed, night.name, "event", e, index);
    if (event.kind === "bump") {
      bump(event, exposed, state);
      return;
    }
    const strength = strengthAt(event, minute);
    if (strength <= 0) return;
    switch (event.kind) {
      case "cloud":
        state.veils.push({ label: "cloud", ...event, dimmingMag: event.dimmingMag * strength, pattern: e });
        state.labels.add("cloud");
        break;
      case "haze":
        state.veils.push({
          label: "haze",
          dimmingMag: event.dimmingMag * strength,
          patchiness: 0,
          patchArcmin: 60,
          windArcminPerMin: 0,
          brightening: event.brightening,
          pattern: e,
        });
        state.labels.add("haze");
        break;
      case "dew":
        state.dew = {
          dimmingMag: event.dimmingMag * strength,
          widening: 1 + (event.widening - 1) * strength,
          haloBeta: event.haloBeta + (scenario.telescope.beta - event.haloBeta) * (1 - strength),
        };
        state.labels.add("dew");
        break;
      case "focus-drift": {
        const since = minute >= event.refocusMin ? event.refocusMin : event.fromMin;
        const blur = (event.blurPxPerHour * (minute - since)) / 60 + event.blurPxPerC * (airC(since) - airC(minute));
        state.defocusPx = Math.abs(blur) * strength;
        if (state.defocusPx > 0.2) state.labels.add("focus-drift");
        break;
      }
      case "wind":
        if (random.uniform() < event.share) {
          state.shake = { px: event.shakePx * strength * Math.abs(random.normal()), angleDeg: event.angleDeg };
          if (state.shake.px > 0.2) state.labels.add("wind");
        }
        break;
      case "tracking-drift": {
        const perS = (event.pxPerMin * strength) / 60;
        const [c, s] = [steadyCosDeg(event.angleDeg), steadySinDeg(event.angleDeg)];
        state.drift.xPxPerS += perS * c;
        state.drift.yPxPerS += perS * s;
        state.shift.xPx += perS * 60 * (minute - event.fromMin) * c;
        state.shift.yPx += perS * 60 * (minute - event.fromMin) * s;
        state.labels.add("tracking-drift");
        break;
      }
      case "pointing-jump":
        state.shift.xPx += event.shiftPx * strength * steadyCosDeg(event.angleDeg);
        state.shift.yPx += event.shiftPx * strength * steadySinDeg(event.angleDeg);
        state.jumped = true;
        state.labels.add("pointing-jump");
        break;
      case "obstruction":
        state.obstruction = { ...event, coverage: event.coverage * strength };
        state.labels.add("obstruction");
        break;
      case "satellites":
      case "aircraft":
        for (let n = random.poisson((event.perHour * strength * exposureS) / 3600); n > 0; n--)
          state.streaks.push(streak(event, scenario, random));
        if (state.streaks.some(({ label }) => label === event.kind)) state.labels.add(event.kind);
        break;
      case "fan-off": {
        const sinceMin = minute - event.fromMin;
        state.warmerC += event.warmerC * strength * (1 - steadyExp(-sinceMin / event.timeConstantMin));
        if (state.warmerC > 0.5) state.labels.add("fan-off");
        break;
      }
      default:
        event satisfies never;
    }
  });
  return state;
}

function bump(
  event: EventOf<"bump">,
  { minute, exposureS }: Exposed,
  state: { bump: Disturbance["bump"]; shift: { xPx: number; yPx: number }; labels: Set<Label> },
): void {
  const [xPx, yPx] = [event.shiftPx * steadyCosDeg(event.angleDeg), event.shiftPx * steadySinDeg(event.angleDeg)];
  const startMin = minute - exposureS / 120;
  if (event.atMin > startMin + exposureS / 60) return;
  state.shift.xPx += xPx;
  state.shift.yPx += yPx;
  if (event.atMin <= startMin) return;
  state.bump = { xPx: -xPx, yPx: -yPx, share: ((event.atMin - startMin) * 60) / exposureS };
  state.labels.add("bump");
}

function streak(
  { kind, electronsPerPx }: EventOf<"satellites" | "aircraft">,
  { camera }: Scenario,
  random: Random,
): Streak {
  return {
    label: kind,
    xPx: (random.uniform() - 0.5) * 0.8 * camera.width,
    yPx: (random.uniform() - 0.5) * 0.8 * camera.height,
    angleDeg: random.between(0, 180),
    electronsPerPx: electronsPerPx * random.between(0.5, 1.5),
  };
}
