import { existsSync, readFileSync } from "node:fs";
import { basename, join, resolve } from "node:path";
import { defaultLimits, type Limits } from "../grade/limits.js";
import type { GroupSetup, SetupNumber } from "../plan/group-setup.js";
import type { Site } from "../sky/site.js";
import { CannotError } from "../terms/errors.js";
import { isObject } from "./notebook-shape.js";

/** What the summary beside a frame table knows that the table does not. */
export interface StoredSummary {
  /** The names of the folders of subs. */
  readonly folders: readonly string[];
  /** What the verdicts were worked out by. */
  readonly limits: Limits;
  /** The observer's place; null: not known. */
  readonly site: Site | null;
  /** Camera and target of each group; empty in the result of an older version. */
  readonly setups: readonly GroupSetup[];
}

/**
 * Reads summary.json of a triage result. Where it is missing, or an older version wrote it, verdicts are taken to be those
 * of the usual limits, and place and camera are not known.
 * @throws CannotError when it cannot be understood, or holds a place or a camera that cannot be
 */
export function storedSummary(folder: string): StoredSummary {
  const file = join(folder, "summary.json");
  const wrong = (problem: string, cause?: unknown) =>
    new CannotError(`Cannot read ${file}: ${problem}. Run nightyield triage again`, { cause });
  let json: unknown = {};
  try {
    if (existsSync(file)) json = JSON.parse(readFileSync(file, "utf8"));
  } catch (cause) {
    throw wrong((cause as Error).message, cause);
  }
  const { folders, limits, site, setups } = isObject(json) ? (json as Readonly<Record<string, unknown>>) : {};
  return {
    folders: Array.isArray(folders) ? folders.map(String) : [basename(resolve(folder))],
    limits: isLimits(limits) ? limits : defaultLimits,
    site: site === undefined || site === null ? null : siteIn(site, wrong),
    setups: setups === undefined ? [] : setupsIn(setups, wrong),
  };
}

type Wrong = (problem: string) => CannotError;

function siteIn(value: unknown, wrong: Wrong): Site {
  const number = numbersOf(value, "site", wrong);
  return {
    latitudeDeg: number("latitudeDeg", -90, 90),
    longitudeDeg: number("longitudeDeg", -360, 360),
    heightM: number("heightM", -500, 9000),
  };
}

function setupsIn(value: unknown, wrong: Wrong): GroupSetup[] {
  if (!Array.isArray(value)) throw wrong("'setups' is no list");
  return value.map((one: unknown, i) => {
    const where = `setups[${i}]`;
    const number = numbersOf(one, where, wrong);
    const { target, filter, exposureS, gainSetting, place, camera } = one as Readonly<Record<string, unknown>>;
    if (typeof target !== "string" || typeof filter !== "string") throw wrong(`${where} lacks target or filter`);
    if (!isObject(camera)) throw wrong(`${where} lacks the camera`);
    const of = camera as Readonly<Record<string, unknown>>;
    const placed = place === undefined || place === null ? null : numbersOf(place, `${where}.place`, wrong);
    return {
      target,
      filter,
      exposureS: exposureS === null ? Number.NaN : number("exposureS", 0, 1e6),
      gainSetting: gainSetting === null ? Number.NaN : number("gainSetting", 0, 1e6),
      place: placed === null ? null : { raDeg: placed("raDeg", 0, 360), decDeg: placed("decDeg", -90, 90) },
      camera: {
        electronsPerAdu: setupNumber(of.electronsPerAdu, `${where}.camera.electronsPerAdu`, 1e-6, wrong),
        readNoiseE: setupNumber(of.readNoiseE, `${where}.camera.readNoiseE`, 0, wrong),
        pedestalAdu: setupNumber(of.pedestalAdu, `${where}.camera.pedestalAdu`, 0, wrong),
      },
    };
  });
}

/** A number of the camera; where it was measured from does not matter, as it is measured anew from the table. */
function setupNumber(value: unknown, where: string, least: number, wrong: Wrong): SetupNumber {
  if (value === undefined) return { value: Number.NaN, from: "unknown" };
  const number = numbersOf(value, where, wrong);
  const { from, headersSay } = value as Readonly<Record<string, unknown>>;
  if (from === "unknown") return { value: Number.NaN, from };
  if (from !== "given" && from !== "header" && from !== "measured")
    throw wrong(`${where}.from is ${JSON.stringify(from)}, expected given, header, measured or unknown`);
  return {
    value: number("value", least, 1e6),
    from,
    ...(headersSay !== undefined && { headersSay: number("headersSay", least, 1e6) }),
  };
}

/** Reads numbers of an object, each within its range. */
function numbersOf(value: unknown, where: string, wrong: Wrong): (name: string, low: number, high: number) => number {
  if (!isObject(value)) throw wrong(`'${where}' is no object`);
  return (name, low, high) => {
    const number = (value as Readonly<Record<string, unknown>>)[name];
    if (typeof number === "number" && number >= low && number <= high) return number;
    throw wrong(`${where}.${name} is ${JSON.stringify(number)}, expected a number from ${low} to ${high}`);
  };
}

/** The same limits by name, each a number. */
function isLimits(value: unknown, like: object = defaultLimits): value is Limits {
  if (typeof value !== "object" || value === null) return false;
  const given = value as Record<string, unknown>;
  return Object.entries(like).every(([name, usual]) =>
    typeof usual === "object" ? isLimits(given[name], usual) : Number.isFinite(given[name]),
  );
}
