import { type StarList, starFlags } from "../measure/star.js";
import { median } from "../numbers/quantiles.js";
import { CallError } from "../terms/errors.js";

/** A star of known magnitude in one sub. */
export interface KnownStar {
  /** Place in the stored rows; 0 is the middle of the first pixel. */
  readonly xPx: number;
  readonly yPx: number;
  readonly mag: number;
}

/** The zero point that known stars give. */
export interface CatalogueZeroPoint {
  /** Magnitude of a star that gives 1 e-/s in this sub, air included; NaN with fewer than three stars found. */
  readonly zeroPointMag: number;
  /** Standard error; the scatter of the stars holds their colours too. */
  readonly errorMag: number;
  readonly scatterMag: number;
  /** Stars of the list that were found and used. */
  readonly used: number;
  readonly listed: number;
}

/** How far a listed place may lie from the star, px: lists that count from 1 are meant as well. */
const nearPx = 3;
const leastSnr = 20;
const fewest = 3;

/**
 * Reads a list of stars: text with a first line that names the columns x, y and mag (or magnitude), separated by commas,
 * semicolons, tabs or blanks. Lines that start with # are left out.
 * @param file - for messages
 * @throws CallError naming file and line
 * @example
 * ```ts
 * import { parseKnownStars } from "nightyield";
 * console.log(parseKnownStars("x,y,mag\n101.5,88.2,9.31\n", "stars.csv"));
 * ```
 */
export function parseKnownStars(text: string, file: string): KnownStar[] {
  const lines = text
    .split(/\r?\n/)
    .map((line, i) => ({ line: line.trim(), number: i + 1 }))
    .filter(({ line }) => line !== "" && !line.startsWith("#"));
  const fields = (line: string) => line.split(/\s*[,;\t]\s*|\s+/);
  const names = fields(lines[0]?.line ?? "").map((name) => name.toLowerCase().replaceAll('"', ""));
  const at = [
    ["x", "xpx"],
    ["y", "ypx"],
    ["mag", "magnitude"],
  ].map((words) => names.findIndex((name) => words.includes(name)));
  if (at.some((i) => i < 0))
    throw new CallError(
      `Cannot use the star list ${file}: its first line is '${lines[0]?.line ?? ""}'. Expected the columns x,y,mag (places in px in one sub; right ascension and declination cannot be used)`,
    );
  return lines.slice(1).map(({ line, number }) => {
    const values = fields(line);
    const [xPx, yPx, mag] = at.map((i) =>
      values[i] === undefined || values[i] === "" ? Number.NaN : Number(values[i]),
    );
    if (![xPx, yPx, mag].every(Number.isFinite) || Math.abs(mag) > 40)
      throw new CallError(
        `Cannot use the star list ${file}: line ${number} is '${line}', expected numbers for x, y and mag`,
      );
    return { xPx, yPx, mag };
  });
}

/**
 * The zero point of a sub from stars whose magnitudes are known: the median of magnitude + 2.5 log10(e-/s) over stars that
 * are not saturated, cut or crowded and stand out by 20 times their noise.
 * @param stars - measured in the sub
 * @example
 * ```ts
 * import { type FrameMeasurement, type KnownStar, zeroPointFrom } from "nightyield";
 * const zeroPointOf = (known: KnownStar[], { stars }: FrameMeasurement) =>
 *   zeroPointFrom(known, stars, { exposureS: 30, electronsPerAdu: 0.8 }).zeroPointMag;
 * console.log(typeof zeroPointOf);
 * ```
 */
export function zeroPointFrom(
  known: readonly KnownStar[],
  stars: StarList,
  { exposureS, electronsPerAdu }: { readonly exposureS: number; readonly electronsPerAdu: number },
): CatalogueZeroPoint {
  if (!(exposureS > 0 && electronsPerAdu > 0))
    throw new CallError(`A zero point needs the exposure and e-/ADU, not ${exposureS} s and ${electronsPerAdu}`);
  const values: number[] = [];
  for (const { xPx, yPx, mag } of known) {
    const star = nearest(stars, xPx, yPx);
    if (star < 0) continue;
    const spoiled = starFlags.saturated | starFlags.incomplete | starFlags.crowded | starFlags.extended;
    if ((stars.flags[star]! & spoiled) !== 0 || !(stars.snr[star]! >= leastSnr)) continue;
    values.push(mag + 2.5 * Math.log10((stars.fluxAdu[star]! * electronsPerAdu) / exposureS));
  }
  const finite = values.filter(Number.isFinite);
  const middle = median(finite);
  // 1.4826 MAD is the standard deviation of normal scatter; a median's error is 1.2533 times a mean's.
  const scatterMag = 1.4826 * median(finite.map((value) => Math.abs(value - middle)));
  const enough = finite.length >= fewest;
  return {
    zeroPointMag: enough ? middle : Number.NaN,
    errorMag: enough ? (1.2533 * scatterMag) / Math.sqrt(finite.length) : Number.NaN,
    scatterMag,
    used: finite.length,
    listed: known.length,
  };
}

/** The only star near a place; -1 where there is none, or two. */
function nearest(stars: StarList, xPx: number, yPx: number): number {
  let found = -1;
  for (let i = 0; i < stars.count; i++) {
    if (Math.hypot(stars.xPx[i]! - xPx, stars.yPx[i]! - yPx) > nearPx) continue;
    if (found >= 0) return -1;
    found = i;
  }
  return found;
}
