// Frames of stars whose truth is known, made without any of the code under test: profiles are integrated over pixels by
// summing points, noise is drawn from Poisson and normal distributions by a generator of its own.
import type { PixelArray, PixelReader } from "../../src/read/pixels.js";

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

/** A Poisson number: counted below 30, above by the normal distribution with the skew of the square root taken care of. */
function poisson(mean: number, uniform: () => number, normal: () => number): number {
  if (mean > 30) return Math.max(0, Math.round(mean + Math.sqrt(mean) * normal() + (normal() ** 2 - 1) / 6));
  let product = uniform();
  let count = 0;
  for (const limit = Math.exp(-mean); product > limit; count++) product *= uniform();
  return count;
}

export interface TrueStar {
  readonly x: number;
  readonly y: number;
  /** All light, ADU. */
  readonly flux: number;
  /** Signal to noise of the best weight, from the CCD equation with the profile's own noise area. */
  readonly snr: number;
}

export interface Scene {
  readonly width: number;
  readonly height: number;
  readonly seed: number;
  readonly stars: number;
  /** Moffat exponent; Infinity: Gaussian. */
  readonly beta: number;
  /** Along the longer axis, before the pixel. */
  readonly fwhmMajor: number;
  readonly fwhmMinor: number;
  readonly angleDeg?: number;
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
  /** A ring instead of a profile: inner and outer radius. */
  readonly ring?: readonly [number, number];
  /** Sky rises by this many ADU from left to right. */
  readonly slope?: number;
}

export interface MadeFrame {
  readonly pixels: Uint16Array;
  readonly width: number;
  readonly height: number;
  readonly stars: readonly TrueStar[];
  /** Noise-free sky in the middle and its standard deviation, ADU. */
  readonly background: number;
  readonly noise: number;
  readonly scene: Scene;
}

/** Value of the profile with total light 1, per square pixel. */
export function profileAt(scene: Scene, dx: number, dy: number): number {
  if (scene.ring !== undefined) {
    const [inner, outer] = scene.ring;
    const radius = Math.hypot(dx, dy);
    // Edges soft over one pixel, so that the sum over points converges.
    const soft = (edge: number) => 1 / (1 + Math.exp((radius - edge) / 0.4));
    return (soft(outer) - soft(inner)) / (Math.PI * (outer * outer - inner * inner));
  }
  const angle = ((scene.angleDeg ?? 0) * Math.PI) / 180;
  const along = dx * Math.cos(angle) + dy * Math.sin(angle);
  const across = -dx * Math.sin(angle) + dy * Math.cos(angle);
  if (scene.beta === Number.POSITIVE_INFINITY) {
    const k = 4 * Math.LN2;
    const q = k * ((along / scene.fwhmMajor) ** 2 + (across / scene.fwhmMinor) ** 2);
    return (k / Math.PI / (scene.fwhmMajor * scene.fwhmMinor)) * Math.exp(-q);
  }
  const k = 4 * (2 ** (1 / scene.beta) - 1);
  const u = 1 + k * ((along / scene.fwhmMajor) ** 2 + (across / scene.fwhmMinor) ** 2);
  return ((scene.beta - 1) * k * u ** -scene.beta) / (Math.PI * scene.fwhmMajor * scene.fwhmMinor);
}

/** Radius with half of the light of the profile blurred by a square pixel, by adding up a fine grid. */
export function trueHfr(scene: Scene): number {
  const fine = 8;
  const widest = scene.ring === undefined ? 12 * Math.max(scene.fwhmMajor, 1) : 1.6 * scene.ring[1];
  const reach = Math.ceil(widest);
  const side = 2 * reach * fine + 1;
  const profile = new Float64Array(side * side);
  for (let j = 0; j < side; j++)
    for (let i = 0; i < side; i++)
      profile[j * side + i] = profileAt(scene, (i - reach * fine) / fine, (j - reach * fine) / fine);
  // Pixel: mean over fine + 1 points each way, the outer ones counting half.
  const blurred = blur(blur(profile, side, 1, fine), side, side, fine);
  const bins = new Float64Array(4 * reach * fine);
  for (let j = 0; j < side; j++)
    for (let i = 0; i < side; i++) {
      const radius = Math.hypot(i - reach * fine, j - reach * fine);
      if (radius < reach * fine) bins[Math.round(2 * radius)]! += blurred[j * side + i]! / (fine * fine);
    }
  let sum = 0;
  for (let k = 0; k < bins.length; k++) {
    if (sum + bins[k]! >= 0.5) return (k - 0.5 + (0.5 - sum) / bins[k]!) / (2 * fine);
    sum += bins[k]!;
  }
  return Number.NaN;
}

function blur(values: Float64Array, side: number, stride: number, fine: number): Float64Array {
  const result = new Float64Array(values.length);
  for (let j = 0; j < side; j++)
    for (let i = fine; i < side - fine; i++) {
      const at = stride === 1 ? j * side + i : i * side + j;
      let sum = 0;
      for (let k = -fine / 2; k <= fine / 2; k++)
        sum += values[at + k * stride]! * (Math.abs(k) === fine / 2 ? 0.5 : 1);
      result[at] = sum / fine;
    }
  return result;
}

/** @param given - stars to use instead of drawn ones */
export function makeFrame(scene: Scene, given?: readonly Pick<TrueStar, "x" | "y" | "flux">[]): MadeFrame {
  const { width, height } = scene;
  const uniform = uniforms(scene.seed);
  const normal = normals(uniform);
  const light = new Float64Array(width * height);
  const size = Math.sqrt(scene.fwhmMajor * scene.fwhmMinor);
  const noise = Math.hypot(
    Math.sqrt(scene.sky / scene.electronsPerAdu),
    scene.readNoiseE / scene.electronsPerAdu,
    Math.sqrt(1 / 12),
  );
  const stars: TrueStar[] = [];
  for (const { x, y, flux } of given ?? []) {
    addStar(scene, light, x, y, flux, size, uniform, normal);
    stars.push({ x, y, flux, snr: trueSnr(scene, flux, noise) });
  }
  let tries = 0;
  while (given === undefined && stars.length < scene.stars && tries++ < 100 * scene.stars) {
    const x = uniform() * (width - 1);
    const y = uniform() * (height - 1);
    if (scene.apart !== undefined && stars.some((s) => Math.hypot(s.x - x, s.y - y) < scene.apart!)) continue;
    const flux = (scene.faintest ** -0.8 + uniform() * (scene.brightest ** -0.8 - scene.faintest ** -0.8)) ** -1.25;
    addStar(scene, light, x, y, flux, size, uniform, normal);
    stars.push({ x, y, flux, snr: trueSnr(scene, flux, noise) });
  }
  const pixels = new Uint16Array(width * height);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const at = y * width + x;
      const channel = scene.channels?.[(x & 1) + 2 * (y & 1)] ?? 1;
      const sky = scene.sky * channel + (scene.slope ?? 0) * (x / width - 0.5);
      const electrons =
        poisson((sky + light[at]!) * scene.electronsPerAdu, uniform, normal) + scene.readNoiseE * normal();
      pixels[at] = Math.max(0, Math.min(65535, Math.round(electrons / scene.electronsPerAdu + scene.pedestal)));
    }
  for (let i = 0; i < (scene.hotPixels ?? 0); i++)
    pixels[Math.floor(uniform() * pixels.length)] = scene.pedestal + scene.sky + noise * (20 + 300 * uniform());
  return { pixels, width, height, stars, background: scene.sky + scene.pedestal, noise, scene };
}

function addStar(
  scene: Scene,
  light: Float64Array,
  x: number,
  y: number,
  flux: number,
  size: number,
  uniform: () => number,
  normal: () => number,
): void {
  const { width, height } = scene;
  const reach =
    scene.ring === undefined ? Math.ceil(size * (3 + 2 * Math.log10(1 + flux / 500))) + 4 : scene.ring[1] + 5;
  const tint = scene.channels?.map((gain) => gain * Math.exp((scene.colourScatter ?? 0) * normal()));
  uniform();
  for (let py = Math.max(0, Math.round(y) - reach); py <= Math.min(height - 1, Math.round(y) + reach); py++)
    for (let px = Math.max(0, Math.round(x) - reach); px <= Math.min(width - 1, Math.round(x) + reach); px++) {
      const near = Math.hypot(px - x, py - y) < 2.5 * size || scene.ring !== undefined;
      const points = near ? 7 : 3;
      let sum = 0;
      for (let j = 0; j < points; j++)
        for (let i = 0; i < points; i++)
          sum += profileAt(scene, px + (i + 0.5) / points - 0.5 - x, py + (j + 0.5) / points - 0.5 - y);
      light[py * width + px]! += ((flux * sum) / (points * points)) * (tint?.[(px & 1) + 2 * (py & 1)] ?? 1);
    }
}

/** Signal to noise under the weight that equals the profile: noise area = 1 / integral of the profile squared. */
function trueSnr(scene: Scene, flux: number, noise: number): number {
  const product = scene.fwhmMajor * scene.fwhmMinor + 0.46;
  // King 1983: noise area of a Gaussian 2.266 FWHM^2; of a Moffat profile pi (2 beta - 1) / (beta - 1)^2 alpha^2.
  const area =
    scene.beta === Number.POSITIVE_INFINITY
      ? 2.266 * product
      : (Math.PI * (2 * scene.beta - 1) * product) / ((scene.beta - 1) ** 2 * 4 * (2 ** (1 / scene.beta) - 1));
  return flux / Math.sqrt(flux / scene.electronsPerAdu + area * noise * noise);
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
