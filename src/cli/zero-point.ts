import { readFileSync } from "node:fs";
import { basename } from "node:path";
import { measureFrame } from "../measure/measure-frame.js";
import { subFacts } from "../measure/sub-facts.js";
import { type CatalogueZeroPoint, parseKnownStars, zeroPointFrom } from "../plan/catalogue-zero-point.js";
import { exposureFacts } from "../read/exposure-facts.js";
import { openFile } from "../read/file-bytes.js";
import { firstImage, openPixels } from "../read/hdu.js";
import { digits } from "../show/digits.js";
import { CallError, CannotError } from "../terms/errors.js";
import { numberFlag } from "./plan-tables.js";

/** A zero point and what it holds for. */
export interface ZeroPoint {
  readonly mag: number;
  /** Null: the user's, for whatever filter is looked at. */
  readonly filter: string | null;
  /** What to say of it; empty for the user's. */
  readonly said: string;
}

/** The flags that lead to a zero point. */
export interface ZeroPointFlags {
  readonly "zero-point"?: string | undefined;
  readonly stars?: string | undefined;
  readonly "stars-sub"?: string | undefined;
}

/**
 * The zero point that the flags give: a number, or a list of stars of known magnitude in one sub.
 * @param electronsPerAdu - the user's; the sub's header when it is not given
 * @returns null without such flags
 * @throws CallError when a flag makes no sense; CannotError when sub or list do not give a zero point
 */
export function zeroPointOf(values: ZeroPointFlags, electronsPerAdu: number | undefined): ZeroPoint | null {
  const mag = numberFlag(values["zero-point"], "zero-point", 0, 40);
  const { stars: list, "stars-sub": sub } = values;
  if (mag !== undefined) {
    if (list !== undefined || sub !== undefined) throw new CallError("Give --zero-point or --stars, not both");
    return { mag, filter: null, said: "" };
  }
  if (list === undefined && sub === undefined) return null;
  if (list === undefined || sub === undefined)
    throw new CallError(
      "--stars FILE.csv and --stars-sub SUB.fits belong together: the list holds x,y,mag of stars in that sub",
    );
  return fromStars(list, sub, electronsPerAdu);
}

function fromStars(list: string, sub: string, given: number | undefined): ZeroPoint {
  const known = parseKnownStars(textOf(list), basename(list));
  const source = openFile(sub, basename(sub));
  try {
    const image = firstImage(source);
    const reader = openPixels(image.source, image.hdu);
    const facts = subFacts(exposureFacts(image.headers, []), reader);
    const exposureS = facts.described.exposureS ?? Number.NaN;
    const electronsPerAdu = given ?? facts.options.electronsPerAdu ?? Number.NaN;
    if (!(electronsPerAdu > 0))
      throw new CallError(`--stars needs --gain E_PER_ADU: the header of ${basename(sub)} does not give it`);
    if (!(exposureS > 0)) throw new CannotError(`The header of ${basename(sub)} gives no exposure time`);
    const { stars } = measureFrame(reader, { ...facts.options, electronsPerAdu });
    const found = zeroPointFrom(known, stars, { exposureS, electronsPerAdu });
    if (Number.isNaN(found.zeroPointMag))
      throw new CannotError(
        `Only ${found.used} of ${found.listed} stars of ${basename(list)} could be used in ${basename(sub)}, 3 are needed: places must be right to 3 px in stored rows, the stars alone, unsaturated and clear of the noise`,
      );
    return { mag: found.zeroPointMag, filter: facts.described.filter ?? "", said: saidOf(found, basename(sub)) };
  } finally {
    source.close();
  }
}

const saidOf = ({ zeroPointMag, errorMag, used, listed, scatterMag }: CatalogueZeroPoint, sub: string) =>
  `zero point ${zeroPointMag.toFixed(2)} +- ${digits(Math.max(errorMag, 0.01), 1)} mag for 1 e-/s, from ${used} of ${listed} listed stars in ${sub}, which scatter by ${scatterMag.toFixed(2)} mag; it holds for air like that of this sub`;

function textOf(file: string): string {
  try {
    return readFileSync(file, "utf8");
  } catch (cause) {
    throw new CannotError(`Cannot read the star list ${file}: ${(cause as Error).message}`, { cause });
  }
}
