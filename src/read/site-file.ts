import { CallError } from "../terms/errors.js";
import { parseAngle } from "./angles.js";
import type { GivenValues } from "./exposure-facts.js";

type Check = (value: unknown) => unknown;
const number =
  (min: number, max: number): Check =>
  (value) => {
    if (typeof value !== "number" || !(value >= min && value <= max))
      throw new Error(`expected a number from ${min} to ${max}`);
    return value;
  };
const text: Check = (value) => {
  if (typeof value !== "string" || value.trim() === "") throw new Error("expected a text");
  return value.trim();
};
const angle =
  (min: number, max: number): Check =>
  (value) => {
    const read = typeof value === "string" ? parseAngle(value) : typeof value === "number" ? { value } : null;
    if (read === null || ("mark" in read && read.mark === "h") || !(read.value >= min && read.value <= max))
      throw new Error(`expected degrees from ${min} to ${max}, as a number or like "48 12 30"`);
    return read.value;
  };
/** Right ascension as text is hours to most people; the key says degrees, so the text must say which it is. */
const rightAscension: Check = (value) => {
  const read = typeof value === "string" ? parseAngle(value) : null;
  if (read?.sexagesimal && read.mark === "")
    throw new Error('which may be hours or degrees: write "20h 34m 52s", "308d 43m", or degrees as a number');
  const deg = read === null ? value : read.mark === "h" ? read.value * 15 : read.value;
  if (typeof deg !== "number" || !(deg >= 0 && deg <= 360))
    throw new Error('expected degrees from 0 to 360 as a number, or a text like "20h 34m 52s"');
  return deg;
};
const oneOf =
  (...words: readonly string[]): Check =>
  (value) => {
    if (typeof value !== "string" || !words.includes(value)) throw new Error(`expected ${words.join(" or ")}`);
    return value;
  };
const bayer: Check = (value) => {
  if (typeof value !== "string" || !/^(?:RGGB|BGGR|GRBG|GBRG)?$/.test(value))
    throw new Error("expected RGGB, BGGR, GRBG or GBRG");
  return value;
};

/** Every key that a site file may hold. */
const keys: Readonly<Record<string, Check>> = {
  name: text,
  latitudeDeg: angle(-90, 90),
  longitudeDeg: angle(-180, 360),
  headerLongitude: oneOf("east-positive", "west-positive"),
  heightM: number(-500, 9000),
  target: text,
  raDeg: rightAscension,
  decDeg: angle(-90, 90),
  pixelScaleArcsec: number(0.01, 1000),
  focalLengthMm: number(1, 100_000),
  pixelSizeUm: number(0.1, 200),
  electronsPerAdu: number(0.0001, 1000),
  readNoiseE: number(0, 1000),
  saturationAdu: number(1, 1e9),
  gainSetting: number(0, 1e6),
  exposureS: number(1e-6, 1e6),
  filter: text,
  bayer,
  clockAheadS: number(-1e6, 1e6),
};

/**
 * Reads a site file: a JSON object with what the headers do not say. Keys: name, latitudeDeg, longitudeDeg (east
 * positive), heightM, headerLongitude (`east-positive` or `west-positive`: how the headers count), target, raDeg, decDeg, pixelScaleArcsec, focalLengthMm, pixelSizeUm, electronsPerAdu, readNoiseE,
 * saturationAdu, gainSetting, exposureS, filter, bayer, clockAheadS (seconds that the camera's clock is ahead of UTC).
 * @param file - for messages
 * @throws CallError naming file, key, what was found and what is allowed
 * @example
 * ```ts
 * import { parseSiteFile } from "nightyield";
 * console.log(parseSiteFile('{ "latitudeDeg": 48.2, "longitudeDeg": 16.4 }', "site.json"));
 * ```
 */
export function parseSiteFile(content: string, file: string): GivenValues {
  let object: unknown;
  try {
    object = JSON.parse(content);
  } catch (cause) {
    throw new CallError(`Cannot read the site file ${file}: it is not JSON (${(cause as Error).message})`, { cause });
  }
  if (typeof object !== "object" || object === null || Array.isArray(object))
    throw new CallError(
      `Cannot read the site file ${file}: expected an object like {"latitudeDeg": 48.2, "longitudeDeg": 16.4}`,
    );
  const values: Record<string, unknown> = {};
  for (const [key, value] of Object.entries(object)) {
    const check = Object.hasOwn(keys, key) ? keys[key]! : undefined;
    if (check === undefined)
      throw new CallError(
        `Cannot read the site file ${file}: the key '${key}' is not known. Keys: ${Object.keys(keys).join(", ")}`,
      );
    try {
      values[key] = check(value);
    } catch (cause) {
      throw new CallError(
        `Cannot read the site file ${file}: ${key} is ${JSON.stringify(value)}, ${(cause as Error).message}`,
        { cause },
      );
    }
  }
  for (const [one, other] of [
    ["latitudeDeg", "longitudeDeg"],
    ["raDeg", "decDeg"],
  ] as const)
    if (one in values !== other in values)
      throw new CallError(
        `Cannot read the site file ${file}: ${one} and ${other} belong together, but only one is given`,
      );
  return values as GivenValues;
}
