// What a star looks like, worked out on a fine grid by adding up points: the light that each pixel gets, and the true
// widths. Nothing of the code under test is used.

/** A star's profile before the pixel blurs it; lengths in pixels. */
export interface Psf {
  /** Moffat exponent; Infinity: Gaussian. */
  readonly beta: number;
  readonly fwhmMajor: number;
  readonly fwhmMinor: number;
  /** Of the major axis, from +x towards +y. */
  readonly angleDeg?: number;
  /** A second profile, this share of the light, wider by this factor: no Moffat profile fits the two together. */
  readonly second?: { readonly share: number; readonly wider: number };
  /** Out of focus: the profile spread over a disc of this radius with a hole of this share of it. */
  readonly disc?: { readonly radius: number; readonly hole: number };
  /** A ring instead of a profile: inner and outer radius. */
  readonly ring?: readonly [number, number];
}

const tableStep = 1 / 256;

/** Density of a round profile of FWHM 1 and light 1 at a distance. */
function roundProfile(beta: number): (distance: number) => number {
  if (beta === Number.POSITIVE_INFINITY) {
    const k = 4 * Math.LN2;
    return (d) => (k / Math.PI) * Math.exp(-k * d * d);
  }
  const k = 4 * (2 ** (1 / beta) - 1);
  return (d) => (((beta - 1) * k) / Math.PI) * (1 + k * d * d) ** -beta;
}

/**
 * Density of a PSF, per square pixel, at a place up to `reach` pixels from the star, without its disc; from a table in the elliptical distance, which powers
 * are too slow for.
 */
export function densityOf(psf: Psf, reach: number): (dx: number, dy: number) => number {
  if (psf.ring !== undefined) {
    const [inner, outer] = psf.ring;
    // Edges soft over one pixel, so that the sum over points converges.
    const soft = (radius: number, edge: number) => 1 / (1 + Math.exp((radius - edge) / 0.4));
    const area = Math.PI * (outer * outer - inner * inner);
    return (dx, dy) => (soft(Math.hypot(dx, dy), outer) - soft(Math.hypot(dx, dy), inner)) / area;
  }
  const { fwhmMajor, fwhmMinor, second } = psf;
  const one = roundProfile(psf.beta);
  const both = (d: number) =>
    second === undefined
      ? one(d)
      : (1 - second.share) * one(d) + (second.share * one(d / second.wider)) / second.wider ** 2;
  const table = Float64Array.from(
    { length: Math.ceil((1.5 * reach) / Math.min(fwhmMajor, fwhmMinor) / tableStep) + 2 },
    (_, i) => both(i * tableStep) / (fwhmMajor * fwhmMinor),
  );
  const angle = ((psf.angleDeg ?? 0) * Math.PI) / 180;
  const cosine = Math.cos(angle);
  const sine = Math.sin(angle);
  return (dx, dy) => {
    const along = (dx * cosine + dy * sine) / fwhmMajor;
    const across = (dy * cosine - dx * sine) / fwhmMinor;
    const at = Math.sqrt(along * along + across * across) / tableStep;
    const below = Math.floor(at);
    return below + 1 < table.length ? table[below]! + (at - below) * (table[below + 1]! - table[below]!) : 0;
  };
}

/** Points spread evenly over a disc with a hole (a sunflower's seeds). */
function discPoints({ radius, hole }: { radius: number; hole: number }): { x: number; y: number }[] {
  const count = Math.max(24, Math.min(400, Math.round(8 * radius * radius)));
  return Array.from({ length: count }, (_, i) => {
    const r = radius * Math.sqrt(hole * hole + (1 - hole * hole) * ((i + 0.5) / count));
    const angle = i * Math.PI * (3 - Math.sqrt(5));
    return { x: r * Math.cos(angle), y: r * Math.sin(angle) };
  });
}

/** A PSF on a grid of `fine` points a pixel, the star in its middle. */
export interface FinePsf {
  /** Cells a pixel. */
  readonly fine: number;
  /** Pixels from the middle to the edge. */
  readonly reach: number;
  /** Cells on a side. */
  readonly side: number;
  /** Density at the middle of each cell, per square pixel. */
  readonly density: Float64Array;
  /** Light of the pixel whose first cell this is, for a star of light 1. */
  readonly pixel: Float64Array;
}

/** Works out a PSF on a fine grid. */
export function finePsf(psf: Psf): FinePsf {
  const size = psf.ring === undefined ? Math.sqrt(psf.fwhmMajor * psf.fwhmMinor) : psf.ring[1];
  const fine = psf.ring === undefined ? Math.max(4, Math.min(12, 2 * Math.ceil(12 / size))) : 4;
  const disc = psf.disc?.radius ?? 0;
  const reach = Math.ceil(psf.ring === undefined ? 12 * size + disc : size + 6);
  const side = 2 * reach * fine;
  const sharp = new Float64Array(side * side);
  const at = densityOf(psf, reach);
  for (let j = 0; j < side; j++)
    for (let i = 0; i < side; i++) sharp[j * side + i] = at((i + 0.5) / fine - reach, (j + 0.5) / fine - reach);
  const density = psf.disc === undefined ? sharp : spread(sharp, side, fine, discPoints(psf.disc));
  const pixel = boxSums(boxSums(density, side, 1, fine), side, side, fine);
  for (let i = 0; i < pixel.length; i++) pixel[i]! /= fine * fine;
  return { fine, reach, side, density, pixel };
}

/** Mean of the image moved to each of some places, by bilinear interpolation. */
function spread(image: Float64Array, side: number, fine: number, points: readonly { x: number; y: number }[]) {
  const weights = new Map<number, number>();
  for (const { x, y } of points) {
    const i = Math.floor(x * fine);
    const j = Math.floor(y * fine);
    const [u, v] = [x * fine - i, y * fine - j];
    for (const [di, dj, w] of [
      [0, 0, (1 - u) * (1 - v)],
      [1, 0, u * (1 - v)],
      [0, 1, (1 - u) * v],
      [1, 1, u * v],
    ] as const) {
      const move = (j + dj) * side + i + di;
      weights.set(move, (weights.get(move) ?? 0) + w / points.length);
    }
  }
  const result = new Float64Array(image.length);
  for (const [move, weight] of weights)
    for (let i = Math.max(0, move), end = Math.min(image.length, image.length + move); i < end; i++)
      result[i]! += weight * image[i - move]!;
  return result;
}

/** Sums over `count` values from each place on, along rows (stride 1) or columns (stride = side). */
function boxSums(values: Float64Array, side: number, stride: number, count: number): Float64Array {
  const result = new Float64Array(values.length);
  const step = stride === 1 ? side : 1;
  for (let line = 0; line < side; line++) {
    let sum = 0;
    for (let i = side - 1; i >= 0; i--) {
      const at = line * step + i * stride;
      sum += values[at]! - (i + count < side ? values[at + count * stride]! : 0);
      result[at] = sum;
    }
  }
  return result;
}

/** What is true of a PSF; lengths in pixels. */
export interface Truth {
  /** Diameter of the circle with the area inside the half-maximum contour, before the pixel. */
  readonly fwhm: number;
  /** Radius with half of the light of the star as recorded: of the profile averaged over a square pixel. */
  readonly hfr: number;
  /** 1 / sum of the squared light of the pixels, a star of light 1. */
  readonly noiseArea: number;
}

export function truthOf({ fine, reach, side, density, pixel }: FinePsf): Truth {
  const middleCell = reach * fine;
  const ring = (cells: readonly (readonly [number, number])[]) =>
    cells.reduce((sum, [i, j]) => sum + density[(middleCell + j) * side + middleCell + i]!, 0) / cells.length;
  // No cell's middle is the star's: the four around it are half a cell's diagonal away. Linear in the squared distance.
  const near = ring([
    [0, 0],
    [-1, 0],
    [0, -1],
    [-1, -1],
  ]);
  const next = ring([
    [1, 0],
    [1, -1],
    [-2, 0],
    [-2, -1],
    [0, 1],
    [-1, 1],
    [0, -2],
    [-1, -2],
  ]);
  let most = near + (near - next) / 4;
  for (const value of density) most = Math.max(most, value);
  // Row by row from the first to the last crossing of the half maximum, holes filled.
  let area = 0;
  for (let j = 0; j < side; j++) {
    const at = (i: number) => density[j * side + i]!;
    let first = 0;
    while (first < side && at(first) < most / 2) first++;
    if (first === side) continue;
    let last = side - 1;
    while (at(last) < most / 2) last--;
    area += last - first;
    area += (at(first) - most / 2) / (at(first) - at(first - 1)) + (at(last) - most / 2) / (at(last) - at(last + 1));
  }
  // A pixel's sum stands in its first cell; its middle is half a pixel on, at a corner between cells.
  const bins = new Float64Array(2 * reach * fine * 2);
  let squares = 0;
  const middle = reach * fine - fine / 2;
  for (let j = 0; j < side; j++)
    for (let i = 0; i < side; i++) {
      const value = pixel[j * side + i]!;
      squares += value * value;
      const radius = Math.hypot(i - middle, j - middle);
      if (radius < reach * fine - fine) bins[Math.round(2 * radius)]! += value / (fine * fine);
    }
  let sum = 0;
  let hfr = Number.NaN;
  for (let k = 0; k < bins.length && Number.isNaN(hfr); k++) {
    if (sum + bins[k]! >= 0.5) hfr = (k - 0.5 + (0.5 - sum) / bins[k]!) / (2 * fine);
    sum += bins[k]!;
  }
  return { fwhm: (2 * Math.sqrt(area / Math.PI)) / fine, hfr, noiseArea: (fine * fine) / squares };
}
