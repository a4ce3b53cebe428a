import { CallError } from "../terms/errors.js";

/** Bytes of a FITS block: headers and data are padded to it. */
const blockBytes = 2880;

/** What is to be stored. */
export interface SpaceInput {
  readonly width: number;
  readonly height: number;
  /** 2 for 16-bit integers, 4 for floats. */
  readonly bytesPerPx?: number;
  readonly subS: number;
  readonly overheadS: number;
  /** Open shutter and overhead together, per night. */
  readonly hoursPerNight: number;
  /** Free space, in bytes; left out: not asked. */
  readonly freeBytes?: number;
}

/** Files and bytes. */
export interface CardSpace {
  readonly bytesPerSub: number;
  readonly subsPerNight: number;
  readonly bytesPerNight: number;
  /** Hours until the free space is full; NaN when it was not given. */
  readonly hoursToFull: number;
  /** Whole nights that fit; NaN when the free space was not given. */
  readonly nightsThatFit: number;
}

/** Bytes of a FITS file of one image: its header (2 blocks are usual) and its pixels, padded. */
export const bytesOfSub = (width: number, height: number, bytesPerPx = 2): number =>
  2 * blockBytes + Math.ceil((width * height * bytesPerPx) / blockBytes) * blockBytes;

/**
 * Files and space of a night.
 * @throws CallError when sizes or times are not positive
 * @example
 * ```ts
 * import { cardSpace } from "nightyield";
 * const { subsPerNight, bytesPerNight } = cardSpace({ width: 1936, height: 1096, subS: 10, overheadS: 2, hoursPerNight: 8 });
 * console.log(subsPerNight, bytesPerNight / 1e9);
 * ```
 */
export function cardSpace(input: SpaceInput): CardSpace {
  const { width, height, bytesPerPx = 2, subS, overheadS, hoursPerNight, freeBytes } = input;
  if (!(width > 0 && height > 0 && subS > 0 && overheadS >= 0 && hoursPerNight >= 0))
    throw new CallError(
      `Space needs the image's size, the length of a sub and hours per night, not ${width} x ${height}, ${subS} s, ${hoursPerNight} h`,
    );
  const bytesPerSub = bytesOfSub(width, height, bytesPerPx);
  const subsPerNight = Math.floor((hoursPerNight * 3600) / (subS + overheadS));
  const bytesPerNight = bytesPerSub * subsPerNight;
  const fits = freeBytes === undefined ? Number.NaN : Math.floor(freeBytes / bytesPerSub);
  return {
    bytesPerSub,
    subsPerNight,
    bytesPerNight,
    hoursToFull: (fits * (subS + overheadS)) / 3600,
    nightsThatFit: subsPerNight === 0 ? Number.NaN : Math.floor(fits / subsPerNight),
  };
}

/** Typical size after lossless Rice compression of 16-bit subs, as a fraction: bits per pixel of the noise over 16. */
export function riceFraction(noiseAdu: number): number {
  // A Gaussian of sigma s takes log2(s sqrt(2 pi e)) bits a pixel; Rice coding some 0.3 bits more
  // (differences of neighbours are sqrt 2 wider: half a bit, less what the choice of the best code regains).
  const bits = Math.max(1, Math.log2(Math.max(noiseAdu, 0.5) * Math.sqrt(2 * Math.PI * Math.E)) + 0.5 + 0.2);
  return Math.min(1, bits / 16);
}
