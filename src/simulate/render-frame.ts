import { type Random, randomStream } from "../numbers/random.js";
import { steadyCosDeg, steadyExp, steadySinDeg } from "../numbers/steady-math.js";
import type { FramePlan } from "./frame-plan.js";
import { type GlowMap, glowAt } from "./glow.js";
import { obstructionMask } from "./obstruction-mask.js";
import { type Canvas, drawStars, type PlacedStar, placeStars } from "./render-stars.js";
import type { Scenario } from "./scenario-shape.js";
import type { SkyStar } from "./star-field.js";
import { drawStreak } from "./streak.js";
import { gridAt, type VeilMap, veilMap } from "./veil-map.js";

/** What a frame is made of besides its plan; the same for all frames of a target. */
export interface Scene {
  readonly stars: readonly SkyStar[];
  readonly glow: GlowMap | null;
  readonly hotPixels: HotPixels;
}

/** The sensor's hot pixels: where, and how much at the reference temperature, electrons/s. */
export interface HotPixels {
  readonly at: Int32Array;
  readonly electronsPerS: Float64Array;
}

/** What was found out while rendering, for the truth table. */
export interface RenderedFrame {
  /** ADU, rows in the order of the file. */
  readonly pixels: Uint16Array;
  readonly stars: readonly PlacedStar[];
  readonly veil: VeilMap | null;
  readonly blockedFraction: number;
  /** Pixels at the sensor's or the converter's limit. */
  readonly saturatedPixels: number;
}

/** The hot pixels of a camera; log-normal in strength, scattered evenly. */
export function hotPixelsOf({ seed, camera }: Scenario): HotPixels {
  const random = randomStream(seed, "hot pixels", camera.name);
  const n = random.poisson(camera.hotPixelFraction * camera.width * camera.height);
  const at = Int32Array.from({ length: n }, () => Math.floor(random.uniform() * camera.width * camera.height));
  return { at, electronsPerS: Float64Array.from(at, () => camera.hotPixelEPerS * steadyExp(1.2 * random.normal())) };
}

const channels = { R: 0, G: 1, B: 2 } as const;
/** Which colour the pixels take, first row first; null: mono. */
export function mosaicOf({ camera }: Scenario): Canvas["mosaic"] {
  if (camera.bayer === "") return null;
  return [...camera.bayer].map((letter) => channels[letter as keyof typeof channels]) as [
    number,
    number,
    number,
    number,
  ];
}

/** Renders a light frame: sky, object, stars and streaks behind clouds, optics, sensor and converter. */
export function renderFrame(scenario: Scenario, plan: FramePlan, scene: Scene): RenderedFrame {
  const { width, height } = scenario.camera;
  const canvas: Canvas = { width, height, light: new Float32Array(width * height), mosaic: mosaicOf(scenario) };
  const veil = veilMap(scenario, plan);
  const through = (x: number, y: number) => (veil === null ? 1 : gridAt(veil, veil.through, x, y, width, height));
  const stars = placeStars(scenario, plan, scene.stars);
  drawStars(scenario, plan, stars, canvas, through);
  for (const streak of plan.disturbance.streaks) drawStreak(canvas, streak, plan.fwhmPx, plan.even);
  const { obstruction } = plan.disturbance;
  const mask = obstruction === null ? null : obstructionMask(obstruction, scenario.seed, width, height);
  addSky(scenario, plan, scene, canvas, veil, mask);
  const { pixels, saturatedPixels } = expose(
    scenario,
    plan.exposureS,
    plan,
    canvas.light,
    scene.hotPixels,
    noiseOf(scenario, plan),
  );
  let blocked = 0;
  if (mask !== null) for (const part of mask) blocked += part;
  return { pixels, stars, veil, blockedFraction: blocked / (width * height), saturatedPixels };
}

const noiseOf = (scenario: Scenario, plan: FramePlan) =>
  randomStream(scenario.seed, plan.night.name, "noise", plan.index);

/** Relative light at a distance from the middle: cos^4-like, `vignetting` lost in the corner. */
export const vignette = (part: number, loss: number) => 1 - loss * part * (0.6 + 0.4 * part);

/** Adds sky and object to the stars, and lets vignetting and obstruction take their part. */
function addSky(
  scenario: Scenario,
  plan: FramePlan,
  { glow }: Scene,
  { width, height, light, mosaic }: Canvas,
  veil: VeilMap | null,
  mask: Float32Array | null,
): void {
  const { site, telescope } = scenario;
  const { sky, rates, exposureS, place, upDeg } = plan;
  const clear = sky.dark + sky.moon + sky.twilight;
  // Brighter towards the horizon: the zenith's direction in the frame, and the growth a pixel.
  const tilt = place.parallacticAngleDeg - upDeg;
  const cosAlt = steadyCosDeg(place.altitudeDeg);
  const perPx =
    (site.skyGradientPerDeg * rates.pixelScaleArcsec * cosAlt) / 3600 / Math.max(0.1, steadySinDeg(place.altitudeDeg));
  const [slopeX, slopeY] = [perPx * steadySinDeg(tilt), -perPx * steadyCosDeg(tilt)];
  const [cosUp, sinUp] = [steadyCosDeg(upDeg), steadySinDeg(upDeg)];
  const glowRate =
    glow === null
      ? 0
      : plan.air * plan.even * exposureS * (glow.unit === "line" ? rates.rayleigh : rates.surfaceOfMag0);
  const [cx, cy] = [(width - 1) / 2, (height - 1) / 2];
  const corner2 = cx * cx + cy * cy;
  const edge = plan.disturbance.obstruction?.brightness ?? 0;
  for (let y = 0, at = 0; y < height; y++)
    for (let x = 0; x < width; x++, at++) {
      const [dx, dy] = [x - cx, y - cy];
      const passed = veil === null ? 1 : gridAt(veil, veil.through, x, y, width, height);
      const back = veil === null ? 0 : gridAt(veil, veil.thrownBack, x, y, width, height) * sky.dark;
      let surface = (clear * passed + back) * exposureS * Math.max(0.2, 1 + slopeX * dx + slopeY * dy);
      const channel = mosaic === null ? 1 : mosaic[((y & 1) << 1) | (x & 1)]!;
      if (mosaic !== null) surface *= site.skyColour[channel]!;
      if (glow !== null) {
        const [u, v] = [(dx - plan.shiftXPx) * rates.pixelScaleArcsec, (dy - plan.shiftYPx) * rates.pixelScaleArcsec];
        const tint = mosaic === null ? 1 : glow.colour[channel]!;
        surface += glowRate * passed * tint * glowAt(glow, v * sinUp - u * cosUp, v * cosUp + u * sinUp);
      }
      let total = (light[at]! + surface) * vignette((dx * dx + dy * dy) / corner2, telescope.vignetting);
      if (mask !== null) total = total * (1 - mask[at]!) + mask[at]! * edge * sky.dark * exposureS;
      light[at] = total;
    }
}

/** What a sensor makes of light: dark current, hot pixels, noise, full well, converter. */
function expose(
  { camera }: Scenario,
  exposureS: number,
  { darkEPerS, warmth }: Pick<FramePlan, "darkEPerS" | "warmth">,
  light: Float32Array,
  hot: HotPixels,
  random: Random,
): { pixels: Uint16Array; saturatedPixels: number } {
  const { readNoiseE, electronsPerAdu, offsetAdu, fullWellE, adcBits } = camera;
  const dark = darkEPerS * exposureS;
  for (let i = 0; i < hot.at.length; i++) {
    const at = hot.at[i]!;
    light[at] = light[at]! + hot.electronsPerS[i]! * warmth * exposureS;
  }
  const pixels = new Uint16Array(light.length);
  const readVariance = readNoiseE * readNoiseE;
  const most = 2 ** adcBits - 1;
  let saturatedPixels = 0;
  for (let i = 0; i < light.length; i++) {
    const mean = light[i]! + dark;
    const z = random.normal();
    let electrons: number;
    if (mean >= 30) {
      // Shot and read noise in one draw, with the skewness of the Poisson part (Cornish & Fisher, first term).
      const variance = mean + readVariance;
      electrons = mean + Math.sqrt(variance) * z + (mean / (6 * variance)) * (z * z - 1);
    } else electrons = random.poisson(mean) + readNoiseE * z;
    const adu = Math.round(Math.min(electrons, fullWellE) / electronsPerAdu + offsetAdu);
    if (adu >= most || electrons >= fullWellE) saturatedPixels++;
    pixels[i] = Math.max(0, Math.min(most, adu));
  }
  return { pixels, saturatedPixels };
}

/** A dark frame with the exposure and temperature of a light frame. */
export function renderDark(scenario: Scenario, plan: FramePlan, hot: HotPixels): Uint16Array {
  const light = new Float32Array(scenario.camera.width * scenario.camera.height);
  return expose(
    scenario,
    plan.exposureS,
    plan,
    light,
    hot,
    randomStream(scenario.seed, plan.night.name, "dark", plan.index),
  ).pixels;
}

/** Exposure of flat frames, s. */
export const flatExposureS = 2;

/** A flat frame: an even light at half of what the camera can hold, through the telescope's vignetting. */
export function renderFlat(scenario: Scenario, plan: FramePlan, hot: HotPixels): Uint16Array {
  const { width, height, fullWellE, electronsPerAdu, adcBits } = scenario.camera;
  const level = 0.5 * Math.min(fullWellE, 2 ** adcBits * electronsPerAdu);
  const light = new Float32Array(width * height);
  const [cx, cy] = [(width - 1) / 2, (height - 1) / 2];
  for (let y = 0, at = 0; y < height; y++)
    for (let x = 0; x < width; x++, at++) {
      const part = ((x - cx) * (x - cx) + (y - cy) * (y - cy)) / (cx * cx + cy * cy);
      light[at] = level * vignette(part, scenario.telescope.vignetting);
    }
  const random = randomStream(scenario.seed, plan.night.name, "flat", plan.index);
  return expose(scenario, flatExposureS, plan, light, hot, random).pixels;
}
