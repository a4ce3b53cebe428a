import { isoUtc } from "../read/instants.js";
import { CallError } from "../terms/errors.js";
import { type Conditions, conditionsOf } from "./conditions.js";
import { damaged } from "./damaged-files.js";
import type { Event, Label } from "./event-shapes.js";
import { writeFits } from "./fits-writer.js";
import { type FramePlan, planNight } from "./frame-plan.js";
import { glowMap } from "./glow.js";
import { type Described, headerCards } from "./header-cards.js";
import {
  flatExposureS,
  hotPixelsOf,
  type RenderedFrame,
  renderDark,
  renderFlat,
  renderFrame,
  type Scene,
} from "./render-frame.js";
import type { Night, Scenario } from "./scenario-shape.js";
import { pixelScaleOf } from "./sky-model.js";
import { starCounts } from "./star-counts.js";
import { starField } from "./star-field.js";
import { excessLosses, type FrameTruth, type Graded, gradeTruth, mainCause } from "./truth.js";

/** A file of a simulated night. */
export interface SimulatedFile {
  /** Name of the night, which is the name of its folder. */
  readonly night: string;
  /** File name within the night's folder. */
  readonly name: string;
  readonly bytes: Uint8Array;
  readonly truth: FrameTruth;
  /** Files so far, and in all. */
  readonly done: number;
  readonly total: number;
}

export interface SimulateOptions {
  /** Instead of the scenario's own. */
  readonly seed?: number;
  /** At most this many frames a night, spread evenly over it; each is the same as in the whole night. */
  readonly frames?: number;
  /** Called after each file. */
  readonly onFrame?: (file: SimulatedFile) => void;
}

/**
 * Makes the nights of a scenario, file after file. For one seed the bytes are the same on every platform: random numbers
 * come from an own generator, elementary functions that reach a pixel are built from exact operations (steady-math.ts),
 * and the sky's angles are rounded before they are used.
 * @throws CallError when an option is out of range, or an instant has no sky
 * @example
 * ```ts
 * import { parseScenario, simulateNight } from "nightyield";
 * const scenario = parseScenario(json, "night.json");
 * for (const { name, bytes, truth } of simulateNight(scenario, { seed: 7 })) console.log(name, bytes.length, truth.fwhmPx);
 * ```
 */
export function* simulateNight(
  given: Scenario,
  options: SimulateOptions = {},
): Generator<SimulatedFile, void, undefined> {
  const { frames = Number.POSITIVE_INFINITY, seed = given.seed } = options;
  if (!(frames >= 1)) throw new CallError(`Cannot simulate ${frames} frames a night. Give a whole number from 1 up`);
  if (!Number.isInteger(seed) || seed < 0 || seed > 4294967295)
    throw new CallError(`The seed is ${seed}. Give a whole number from 0 to 4294967295`);
  const scenario = { ...given, seed };
  const plans = scenario.nights.map((night) => planNight(scenario, night));
  const wanted = plans.map((all) => evenly(all.length, frames));
  const total = scenario.nights.reduce((sum, night, n) => sum + wanted[n]!.size + extraFiles(night, wanted[n]!), 0);
  const sceneOf = scenes(scenario);
  let done = 0;
  for (const [n, night] of scenario.nights.entries()) {
    for (const file of oneNight(scenario, night, plans[n]!, wanted[n]!, sceneOf)) {
      done++;
      const whole = { night: night.name, ...file, done, total };
      options.onFrame?.(whole);
      yield whole;
    }
  }
}

type PlainFile = Pick<SimulatedFile, "name" | "bytes" | "truth">;
type FrameEvent = Extract<Event, { readonly frame: number }>;
const isFrameEvent = (event: Event): event is FrameEvent => "frame" in event;
const addsFile = (event: FrameEvent) => ["duplicated-file", "stray-dark", "stray-flat"].includes(event.kind);

function* oneNight(
  scenario: Scenario,
  night: Night,
  plans: readonly FramePlan[],
  wanted: ReadonlySet<number>,
  sceneOf: (target: string) => Scene,
): Generator<PlainFile> {
  const worth = plans.map((plan) => ({
    group: `${plan.target}|${plan.filter}|${plan.exposureS}`,
    exposureS: plan.exposureS,
    conditions: conditionsOf(scenario, plan),
  }));
  const [graded, losses] = [gradeTruth(worth), excessLosses(worth)];
  const firstUp = new Map<string, number>();
  for (const plan of plans) if (!firstUp.has(plan.target)) firstUp.set(plan.target, plan.upDeg);
  for (const plan of plans) {
    if (!wanted.has(plan.index)) continue;
    const events = night.events.filter(isFrameEvent).filter(({ frame }) => frame === plan.index);
    for (const { kind } of events)
      if (kind === "stray-dark" || kind === "stray-flat") yield strayFile(scenario, plan, kind, sceneOf(plan.target));
    const rendered = renderFrame(scenario, plan, sceneOf(plan.target));
    const name = `${baseName(plan)}${extension(plan)}`;
    const clean = fileBytes(scenario, plan, rendered.pixels, { kind: "light", exposureS: plan.exposureS });
    const truth = truthOf(scenario, plan, rendered, worth[plan.index]!.conditions, graded[plan.index]!, {
      file: name,
      losses: losses[plan.index]!,
      upDeg: firstUp.get(plan.target)!,
    });
    const damage = events.find(
      (event) => event.kind === "truncated-file" || event.kind === "empty-file" || event.kind === "foreign-file",
    );
    if (damage === undefined) yield { name, bytes: clean, truth };
    else {
      const joinedEvents = [damage.kind, truth.events].filter((text) => text !== "").join(";");
      yield {
        name,
        bytes: damaged(clean, damage),
        truth: { ...truth, kind: "unreadable", verdict: "unjudged", cause: "bad-file", events: joinedEvents },
      };
    }
    if (events.some(({ kind }) => kind === "duplicated-file")) {
      const copy = `${baseName(plan)}_copy${extension(plan)}`;
      const copied = [truth.events, "duplicated-file"].filter((text) => text !== "").join(";");
      yield { name: copy, bytes: clean.slice(), truth: { ...truth, file: copy, events: copied } };
    }
  }
}

function extraFiles(night: Night, wanted: ReadonlySet<number>): number {
  return night.events.filter(isFrameEvent).filter((event) => addsFile(event) && wanted.has(event.frame)).length;
}

/** Star fields, glow and hot pixels, made once for each target. */
function scenes(scenario: Scenario): (target: string) => Scene {
  const known = new Map<string, Scene>();
  const hotPixels = hotPixelsOf(scenario);
  const { width, height } = scenario.camera;
  const pixelScale = pixelScaleOf(scenario.telescope, scenario.camera);
  // Pointing errors move the field; a field this much wider covers all of them.
  const farthest = scenario.nights
    .flatMap((night) => night.events)
    .reduce((sum, event) => sum + ("shiftPx" in event ? event.shiftPx : 0), 400);
  const radius = pixelScale * (0.5 * Math.sqrt(width * width + height * height) + farthest);
  return (target) => {
    const found = known.get(target);
    if (found !== undefined) return found;
    const terms = scenario.targets[target]!;
    const stars = starField(scenario.seed, target, terms, radius);
    const scene = { stars, glow: glowMap(scenario.seed, terms), hotPixels };
    known.set(target, scene);
    return scene;
  };
}

function fileBytes(scenario: Scenario, plan: FramePlan, pixels: Uint16Array, described: Described): Uint8Array {
  const { width, height } = scenario.camera;
  return writeFits({ pixels, width, height, cards: headerCards(scenario, plan, described) }, plan.header);
}

const extension = (plan: FramePlan) => (plan.header.compression === "rice" ? ".fits.fz" : ".fits");

function baseName(plan: FramePlan): string {
  const parts: Readonly<Record<string, string>> = {
    target: plan.target.replaceAll(/[^\w.-]+/g, ""),
    filter: plan.filter.replaceAll(/[^\w.-]+/g, ""),
    exposure: String(plan.exposureS),
    number: String(plan.index + 1).padStart(4, "0"),
    temp: plan.sensorC.toFixed(1),
    date: new Date(Math.round(plan.startMs)).toISOString().slice(0, 19).replaceAll(/[-:]/g, ""),
  };
  return plan.header.name.replaceAll(/\{(\w+)\}/g, (whole, key: string) => parts[key] ?? whole);
}

function strayFile(scenario: Scenario, plan: FramePlan, kind: "stray-dark" | "stray-flat", scene: Scene): PlainFile {
  const dark = kind === "stray-dark";
  const pixels = dark ? renderDark(scenario, plan, scene.hotPixels) : renderFlat(scenario, plan, scene.hotPixels);
  const described = { kind: dark ? "dark" : "flat", exposureS: dark ? plan.exposureS : flatExposureS } as const;
  const name = `${described.kind}_${String(plan.index + 1).padStart(4, "0")}${extension(plan)}`;
  const truth: FrameTruth = {
    ...nothing,
    file: name,
    kind: described.kind,
    filter: dark ? "" : plan.filter,
    startUtc: isoUtc(plan.startMs),
    exposureS: described.exposureS,
    sensorTempC: plan.sensorC,
    darkEPerSPx: plan.darkEPerS,
    events: kind,
  };
  return { name, bytes: fileBytes(scenario, plan, pixels, described), truth };
}

function truthOf(
  scenario: Scenario,
  plan: FramePlan,
  rendered: RenderedFrame,
  conditions: Conditions,
  graded: Graded,
  {
    file,
    losses,
    upDeg,
  }: { readonly file: string; readonly losses: ReadonlyMap<Label, number>; readonly upDeg: number },
): FrameTruth {
  const { shape, transparency, skyEPerSPx } = conditions;
  const { place } = plan;
  const labels = [...losses]
    .filter(([label, loss]) => loss > 0.05 || plan.labels.includes(label))
    .map(([label]) => label);
  // The frame's +y turns towards larger position angles, so the field turns the other way.
  const turn = upDeg - plan.upDeg;
  return {
    file,
    kind: "light",
    target: plan.target,
    filter: plan.filter,
    startUtc: isoUtc(plan.startMs),
    exposureS: plan.exposureS,
    sensorTempC: plan.sensorC,
    transparency,
    skyEPerSPx,
    darkEPerSPx: plan.darkEPerS,
    fwhmPx: shape.fwhmPx,
    hfrPx: shape.hfrPx,
    ellipticity: shape.ellipticity,
    elongationAngleDeg: shape.angleDeg,
    ...starCounts(scenario, plan, rendered, conditions),
    saturatedPixels: rendered.saturatedPixels,
    streaks: plan.disturbance.streaks.length,
    blockedFraction: rendered.blockedFraction,
    shiftXPx: plan.shiftXPx,
    shiftYPx: plan.shiftYPx,
    rotationDeg: turn - 360 * Math.round(turn / 360),
    altitudeDeg: place.altitudeDeg,
    azimuthDeg: place.azimuthDeg,
    airmass: place.airmass,
    sunAltitudeDeg: place.sunAltitudeDeg,
    moonAltitudeDeg: place.moonAltitudeDeg,
    ...graded,
    cause: mainCause(losses),
    events: labels.join(";"),
  };
}

/** A row for what is no light frame. */
const nothing: FrameTruth = {
  file: "",
  kind: "other",
  target: "",
  filter: "",
  startUtc: "",
  exposureS: Number.NaN,
  sensorTempC: Number.NaN,
  transparency: Number.NaN,
  skyEPerSPx: Number.NaN,
  darkEPerSPx: Number.NaN,
  fwhmPx: Number.NaN,
  hfrPx: Number.NaN,
  ellipticity: Number.NaN,
  elongationAngleDeg: Number.NaN,
  starsSnr5: Number.NaN,
  starsSnr10: Number.NaN,
  saturatedPixels: Number.NaN,
  streaks: Number.NaN,
  blockedFraction: Number.NaN,
  shiftXPx: Number.NaN,
  shiftYPx: Number.NaN,
  rotationDeg: Number.NaN,
  altitudeDeg: Number.NaN,
  azimuthDeg: Number.NaN,
  airmass: Number.NaN,
  sunAltitudeDeg: Number.NaN,
  moonAltitudeDeg: Number.NaN,
  effectiveExposureS: Number.NaN,
  effectivePointExposureS: Number.NaN,
  verdict: "unjudged",
  cause: "",
  events: "",
};

/** The numbers 0 to n - 1, or `most` of them spread evenly. */
function evenly(n: number, most: number): ReadonlySet<number> {
  if (n <= most) return new Set(Array.from({ length: n }, (_, i) => i));
  return new Set(Array.from({ length: most }, (_, i) => Math.floor(((i + 0.5) * n) / most)));
}
