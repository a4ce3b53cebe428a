import { readFileSync } from "node:fs";
import { basename, relative, resolve } from "node:path";
import { limitsFor, type Purpose, purposes } from "../grade/purposes.js";
import type { NightRequest } from "../night.js";
import { parseAngle } from "../read/angles.js";
import type { Given, GivenValues } from "../read/exposure-facts.js";
import { parseSiteFile } from "../read/site-file.js";
import { CallError } from "../terms/errors.js";

/** The flags that say what headers do not; triage and measure share them. */
export const nightFlags = {
  site: { type: "string" },
  "site-file": { type: "string" },
  target: { type: "string" },
  jobs: { type: "string" },
  store: { type: "string" },
  out: { type: "string" },
  json: { type: "boolean" },
} as const;

/** The flags that say what the stack is for; for commands that grade. */
export const gradingFlags = {
  purpose: { type: "string" },
  "drop-streaks": { type: "boolean" },
} as const;

export interface GradingFlagValues {
  readonly purpose?: string | undefined;
  readonly "drop-streaks"?: boolean | undefined;
}

export interface NightFlagValues extends GradingFlagValues {
  readonly site?: string | undefined;
  readonly "site-file"?: string | undefined;
  readonly target?: string | undefined;
  readonly jobs?: string | undefined;
  readonly store?: string | undefined;
}

/**
 * What the flags and the site file give; flags win over the file.
 * @throws CallError when a value cannot be understood
 */
export function givenFrom(values: NightFlagValues): Pick<NightRequest, "given"> {
  const given: { from: Given[number]["from"]; values: GivenValues }[] = [];
  const file = values["site-file"];
  if (file !== undefined) given.push({ from: "site file", values: parseSiteFile(textOf(file), basename(file)) });
  const flags = { ...siteOf(values.site), ...targetOf(values.target) };
  if (Object.keys(flags).length > 0) given.push({ from: "command line", values: flags });
  return { given };
}

/**
 * The limits that the flags ask for; nothing without flags.
 * @throws CallError when there is no such purpose
 */
export function limitsFrom(values: GradingFlagValues): Pick<NightRequest, "limits"> {
  const { purpose, "drop-streaks": dropStreaks = false } = values;
  if (purpose === undefined && !dropStreaks) return {};
  const known = purposes.find((name): name is Purpose => name === (purpose ?? "balanced"));
  if (known === undefined) throw new CallError(`--purpose is '${purpose}', expected one of ${purposes.join(", ")}`);
  return { limits: limitsFor(known, dropStreaks ? { streak: { drop: 1 } } : {}) };
}

/** @throws CallError when what is written would land among the subs */
export function refuseInside(out: string, folders: readonly string[], flag: "out" | "store" = "out"): void {
  for (const folder of folders) {
    const way = relative(resolve(folder), out);
    if (way === "" || (!way.startsWith("..") && !/^[a-z]:/i.test(way) && !way.startsWith("/")))
      throw new CallError(
        `--${flag} ${out} lies inside ${folder}. Nothing is written among the subs; choose a place outside`,
      );
  }
}

function textOf(file: string): string {
  try {
    return readFileSync(file, "utf8");
  } catch (cause) {
    throw new CallError(`Cannot read the site file ${file}: ${(cause as Error).message}`, { cause });
  }
}

function siteOf(text: string | undefined): GivenValues {
  if (text === undefined) return {};
  const [latitude, longitude, height, ...more] = text.split(",").map((part) => parseAngle(part)?.value ?? Number.NaN);
  const good = more.length === 0 && Math.abs(latitude!) <= 90 && longitude! >= -180 && longitude! <= 360;
  const heightM = height ?? 0;
  if (!good || !(heightM > -500 && heightM < 9000))
    throw new CallError(
      `--site is '${text}', expected LAT,LON[,HEIGHT_M] in degrees, north and east positive, for example 48.2,16.4,200`,
    );
  return { latitudeDeg: latitude!, longitudeDeg: longitude!, ...(height !== undefined && { heightM }) };
}

/** A name, or right ascension and declination: decimals are degrees, sexagesimal right ascension is hours. */
function targetOf(text: string | undefined): GivenValues {
  if (text === undefined) return {};
  const parts = text.split(",");
  const [ra, dec] = parts.map((part) => parseAngle(part));
  if (parts.length !== 2 || !ra || !dec) return { target: text.trim() };
  const raDeg = ra.sexagesimal ? ra.value * 15 : ra.value;
  if (!(raDeg >= 0 && raDeg < 360 && Math.abs(dec.value) <= 90))
    throw new CallError(`--target is '${text}', expected a name, or RA,DEC like 83.82,-5.39 or 05:35:17,-05:23:28`);
  return { raDeg, decDeg: dec.value };
}
