// Frames of stars whose truth is known, made without any of the code under test: profiles are integrated over pixels by
// summing points, noise is drawn from Poisson and normal distributions by a generator of its own.
import type { PixelArray, PixelReader } from "../../src/read/pixels.js";
import { type FinePsf, finePsf, type Psf, type Truth, truthOf } from "./psf.js";

/** Seeded uniform numbers in (0, 1): mulberry32. */
export function uniforms(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return (((t ^ (t >>> 14)) >>> 0) + 0.5) / 4294967296;
  };
}

export function normals(uniform: () => number): () => number {
  let spare = Number.NaN;
  return () => {
    if (!Number.isNaN(spare)) {
      const value = spare;
      spare = Number.NaN;
      return value;
    }
    const radius = Math.sqrt(-2 * Math.log(uniform()));
    const angle = 2 * Math.PI * uniform();
    spare = radius * Math.sin(angle);
    return radius * Math.cos(angle);
  };
}

let pool: Float32Array | null = null;
const run = 1024;

/** Normal numbers from a pool of a million, in runs from places of their own: several times faster, for pixels. */
function pooledNormals(uniform: () => number): () => number {
  if (pool === null) {
    const normal = normals(uniforms(20_251));
    pool = Float32Array.from({ length: 1 << 20 }, normal);
  }
  const numbers = pool;
  let at = 0;
  let end = 0;
  return () => {
    if (at === end) {
      at = Math.floor(uniform() * (numbers.length - run));
      end = at + run;
    }
    return numbers[at++]!;
  };
}

export interface TrueStar {
  readonly x: number;
  readonly y: number;
  /** All light, ADU; on a mosaic as the mean of the four channels records it. */
  readonly flux: number;
  /** Signal to noise of the best weight, from the CCD equation with the profile's own noise area. */
  readonly snr: number;
}

export interface Scene extends Psf {
  readonly width: number;
  readonly height: number;
  readonly seed: number;
  readonly stars: number;
  readonly sky: number;
  readonly pedestal: number;
  readonly readNoiseE: number;
  readonly electronsPerAdu: number;
  /** Light of the faintest and brightest star, ADU; numbers fall as a power law. */
  readonly faintest: number;
  readonly brightest: number;
  /** Smallest distance between stars, pixels. */
  readonly apart?: number;
  readonly hotPixels?: number;
  /** Colour gains of the four channels, first row first. */
  readonly channels?: readonly [number, number, number, number];
  /** Star colours scatter by this factor (standard deviation of the logarithm). */
  readonly colourScatter?: number;
  /** Sky rises by this many ADU from left to right. */
  readonly slope?: number;
}

export interface MadeFrame {
  readonly pixels: Uint16Array;
  readonly width: number;
  readonly height: number;
  readonly stars: readonly TrueStar[];
  /** Indices of the hot pixels. */
  readonly hot: readonly number[];
  /** Noise-free sky in the middle and its standard deviation, ADU. */
  readonly background: number;
  readonly noise: number;
  readonly scene: Scene;
  readonly truth: Truth;
}

/** What a scene adds to light and sky before the noise is drawn: streaks, glow, shadows. */
export type Alter = (light: Float64Array, sky: Float64Array) => void;

const psfs = new Map<string, { psf: FinePsf; truth: Truth }>();

/** The fine PSF of a scene and its truth, worked out once. */
export function psfOf({ beta, fwhmMajor, fwhmMinor, angleDeg, second, disc, ring }: Psf) {
  const key = JSON.stringify([String(beta), fwhmMajor, fwhmMinor, angleDeg, second, disc, ring]);
  const known = psfs.get(key);
  if (known !== undefined) return known;
  const psf = finePsf({
    beta,
    fwhmMajor,
    fwhmMinor,
    ...(angleDeg === undefined ? {} : { angleDeg }),
    ...(second === undefined ? {} : { second }),
    ...(disc === undefined ? {} : { disc }),
    ...(ring === undefined ? {} : { ring }),
  });
  const made = { psf, truth: truthOf(psf) };
  psfs.set(key, made);
  return made;
}

/**
 * Makes a frame.
 * @param given - stars to use instead of drawn ones
 * @param alter - changes the noise-free starlight and sky
 */
export function makeFrame(
  scene: Scene,
  given?: readonly Pick<TrueStar, "x" | "y" | "flux">[],
  alter?: Alter,
): MadeFrame {
  const { width, height, electronsPerAdu: gain } = scene;
  const uniform = uniforms(scene.seed);
  const normal = normals(uniform);
  const { psf, truth } = psfOf(scene);
  const light = new Float64Array(width * height);
  const noise = Math.sqrt(scene.sky / gain + (scene.readNoiseE / gain) ** 2 + 1 / 12);
  const stars: TrueStar[] = [];
  const put = (x: number, y: number, given: number) => {
    // Places are rounded to the fine grid: the star's true place is the rounded one.
    const { tint, ...place } = addStar(scene, psf, light, x, y, given, normal);
    const flux = given * tint;
    const snr = flux / Math.sqrt(flux / gain + truth.noiseArea * noise * noise);
    stars.push({ ...place, flux, snr });
  };
  for (const { x, y, flux } of given ?? []) put(x, y, flux);
  let tries = 0;
  while (given === undefined && stars.length < scene.stars && tries++ < 100 * scene.stars) {
    const x = uniform() * (width - 1);
    const y = uniform() * (height - 1);
    if (scene.apart !== undefined && stars.some((s) => Math.hypot(s.x - x, s.y - y) < scene.apart!)) continue;
    const flux = (scene.faintest ** -0.8 + uniform() * (scene.brightest ** -0.8 - scene.faintest ** -0.8)) ** -1.25;
    put(x, y, flux);
  }
  const sky = new Float64Array(width * height);
  for (let y = 0, at = 0; y < height; y++)
    for (let x = 0; x < width; x++, at++) {
      const channel = scene.channels?.[(x & 1) + 2 * (y & 1)] ?? 1;
      sky[at] = scene.sky * channel + (scene.slope ?? 0) * (x / width - 0.5);
    }
  alter?.(light, sky);
  const pixels = new Uint16Array(width * height);
  const pooled = pooledNormals(uniform);
  for (let at = 0; at < pixels.length; at++) {
    const electrons = noisy((sky[at]! + light[at]!) * gain, scene.readNoiseE, uniform, pooled);
    pixels[at] = Math.max(0, Math.min(65535, Math.round(electrons / gain + scene.pedestal)));
  }
  const hot = Array.from({ length: scene.hotPixels ?? 0 }, () => {
    const at = Math.floor(uniform() * pixels.length);
    pixels[at] = scene.pedestal + scene.sky + noise * (20 + 300 * uniform());
    return at;
  });
  return { pixels, width, height, stars, hot, background: scene.sky + scene.pedestal, noise, scene, truth };
}

/**
 * Electrons counted where `mean` are expected, read with noise. Above 30 from a normal number with the skew of both
 * (Cornish & Fisher's first term), below by counting.
 */
function noisy(mean: number, readNoiseE: number, uniform: () => number, normal: () => number): number {
  const z = normal();
  if (mean > 30) {
    const variance = mean + readNoiseE * readNoiseE;
    return mean + Math.sqrt(variance) * z + ((z * z - 1) / 6) * (mean / variance);
  }
  let product = uniform();
  let count = 0;
  for (const limit = Math.exp(-mean); product > limit; count++) product *= uniform();
  return count + readNoiseE * z;
}

/** Adds a star's light to the pixels. */
function addStar(
  scene: Scene,
  { fine, reach, side, pixel }: FinePsf,
  light: Float64Array,
  x: number,
  y: number,
  flux: number,
  normal: () => number,
): { x: number; y: number; tint: number } {
  const { width, height } = scene;
  const pixelX = Math.round(x);
  const pixelY = Math.round(y);
  // Cells from the first edge of its pixel to the star.
  const cellX = Math.round((x - pixelX + 0.5) * fine);
  const cellY = Math.round((y - pixelY + 0.5) * fine);
  // Both greens see a star alike.
  const colours = [1, 1, 1].map(() => Math.exp((scene.colourScatter ?? 0) * normal()));
  const tint = scene.channels?.map((gain, channel) => gain * colours[channel - (channel >> 1)]!);
  // Fainter than a thousandth of an ADU a pixel does not matter.
  const size = Math.sqrt(scene.fwhmMajor * scene.fwhmMinor) * (scene.second?.wider ?? 1);
  const far =
    scene.ring === undefined && scene.disc === undefined
      ? Math.min(reach - 1, Math.ceil(size * (3 + 2 * Math.log10(1 + flux / 500))) + 4)
      : reach - 1;
  for (let py = Math.max(0, pixelY - far); py <= Math.min(height - 1, pixelY + far); py++) {
    const row = ((py - pixelY + reach) * fine - cellY) * side;
    for (let px = Math.max(0, pixelX - far); px <= Math.min(width - 1, pixelX + far); px++) {
      const share = pixel[row + (px - pixelX + reach) * fine - cellX]!;
      light[py * width + px]! += flux * share * (tint === undefined ? 1 : tint[(px & 1) + 2 * (py & 1)]!);
    }
  }
  const mean = tint === undefined ? 1 : tint.reduce((sum, t) => sum + t / 4, 0);
  return { x: pixelX + cellX / fine - 0.5, y: pixelY + cellY / fine - 0.5, tint: mean };
}

/** Pixels in memory as a reader. */
export function readerOf(
  pixels: Uint16Array | Float32Array | Float64Array,
  width: number,
  height: number,
): PixelReader {
  const type = pixels instanceof Uint16Array ? "uint16" : pixels instanceof Float32Array ? "float32" : "float64";
  return {
    width,
    height,
    planes: 1,
    type,
    readRows(firstRow: number, rows: number, into: PixelArray) {
      into.set(pixels.subarray(firstRow * width, (firstRow + rows) * width));
    },
  };
}
