import { readFileSync } from "node:fs";
import { join, resolve } from "node:path";
import { storedSummary } from "../notebook/stored-summary.js";
import { type CombinedTable, combineTables, type OwnScale } from "../plan/combine.js";
import { type SaidOfGroup, saidOfSetup } from "../plan/group-setup.js";
import type { CameraGiven, NoiseModel } from "../plan/noise-model.js";
import type { Site } from "../sky/site.js";
import { readEcsv } from "../terms/ecsv.js";
import { CallError, CannotError } from "../terms/errors.js";
import { toRadians } from "../terms/units.js";

export { bytesText, digits } from "../show/digits.js";

/** Flags by which the user gives what the table does not hold. */
export const cameraFlags = {
  gain: { type: "string" },
  "read-noise": { type: "string" },
  pedestal: { type: "string" },
  dark: { type: "string" },
  filter: { type: "string" },
  "card-gb": { type: "string" },
  json: { type: "boolean" },
} as const;

/** Triage results as one table, with what their summaries know besides. */
export interface PlanTables extends CombinedTable {
  /** The observer's place and the folder that it comes from; null: in none of the results. */
  readonly site: { readonly site: Site; readonly folder: string } | null;
  /** What headers, or the user at triage, said of camera and targets. */
  readonly said: readonly SaidOfGroup[];
  /** What does not fit together, for the user. */
  readonly notes: readonly string[];
}

/** Places farther apart than this, in degrees, are two places. */
const samePlaceDeg = 0.3;

/**
 * The tables of earlier triage results as one.
 * @throws CannotError when a folder has no frames.ecsv, its summary.json cannot be read, or no light frame is in any
 */
export function tablesOf(folders: readonly string[]): PlanTables {
  const tables = folders.map((folder) => {
    const file = join(resolve(folder), "frames.ecsv");
    try {
      return readEcsv(readFileSync(file, "utf8"), file);
    } catch (cause) {
      if (cause instanceof CallError) throw cause;
      throw new CannotError(
        `There is no triage result in ${folder} (${(cause as Error).message}). Run nightyield triage first, and give its --out folder`,
        { cause },
      );
    }
  });
  const combined = combineTables(tables);
  if (!combined.table.kind.includes("light"))
    throw new CannotError(`There is no light frame in ${folders.join(", ")}: nothing to plan from`);
  const summaries = folders.map((folder) => ({ folder, ...storedSummary(folder) }));
  const sites = summaries.flatMap(({ site, folder }) => (site === null ? [] : [{ site, folder }]));
  const [first] = sites;
  const elsewhere = sites.find(({ site }) => apart(site, first.site) > samePlaceDeg);
  return {
    ...combined,
    site: first ?? null,
    said: summaries.flatMap(({ setups }) => setups.map(saidOfSetup)),
    notes:
      elsewhere === undefined
        ? []
        : [
            `${first.folder} and ${elsewhere.folder} were taken at two places; the first is planned for, --site LAT,LON gives another`,
          ],
  };
}

const apart = (a: Site, b: Site) =>
  Math.max(
    Math.abs(a.latitudeDeg - b.latitudeDeg),
    Math.abs(((a.longitudeDeg - b.longitudeDeg + 540) % 360) - 180) * Math.cos(toRadians(a.latitudeDeg)),
  );

/** What the flags say of the camera. */
export function cameraGiven(
  values: { readonly [K in "gain" | "read-noise" | "pedestal" | "dark"]?: string | undefined },
): CameraGiven {
  const gain = positive(values.gain, "gain");
  const read = positive(values["read-noise"], "read-noise");
  const pedestal = numberFlag(values.pedestal, "pedestal", 0, 1e6);
  const dark = numberFlag(values.dark, "dark", 0, 1e4);
  return {
    ...(gain !== undefined && { electronsPerAdu: gain }),
    ...(read !== undefined && { readNoiseE: read }),
    ...(pedestal !== undefined && { pedestalAdu: pedestal }),
    ...(dark !== undefined && { darkEPerS: dark }),
  };
}

/** A number from a flag, within a range; undefined when the flag is not there. */
export function numberFlag(text: string | undefined, flag: string, low: number, high: number): number | undefined {
  if (text === undefined) return undefined;
  const value = text.trim() === "" ? Number.NaN : Number(text);
  if (!(value >= low && value <= high))
    throw new CallError(`--${flag} is '${text}', expected a number from ${low} to ${high}`);
  return value;
}

const positive = (text: string | undefined, flag: string) => numberFlag(text, flag, 1e-6, 1e6);

/** Why two results are not on one scale. */
export const ownScaleWords: Readonly<Record<OwnScale["because"], string>> = {
  gain: "differ in gain",
  "image-size": "differ in image size",
  "noise-not-measured": "lack the noise of their subs",
};

/** How to ask for what a noise model lacks. */
export function requestFor(missing: NoiseModel["missing"]): string {
  const asks = {
    "electrons-per-adu": "--gain E_PER_ADU",
    "read-noise": "--read-noise E",
    pedestal: "--pedestal ADU",
  } as const;
  return missing.map((what) => asks[what]).join(" and ");
}
