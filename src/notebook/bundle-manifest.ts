import type { Limits } from "../grade/limits.js";
import { CannotError } from "../terms/errors.js";
import { isObject } from "./notebook-shape.js";
import type { PartDigests } from "./part-digests.js";
import type { ZipEntry } from "./zip.js";

/** A sub that the bundle speaks of. The sub itself is not in it. */
export interface BundledSub {
  /** As in the frame table. */
  readonly file: string;
  readonly sizeBytes: number;
  readonly sha256: string;
}

/** What a bundle says of itself: `manifest.json`. */
export interface BundleManifest {
  readonly format: "nightyield bundle";
  readonly formatVersion: 1;
  readonly versions: { readonly nightyield: string; readonly node: string };
  /** Every file of the bundle besides this one. */
  readonly contents: readonly {
    readonly name: string;
    readonly what: string;
    readonly bytes: number;
    readonly sha256: string;
  }[];
  /** What each part of these files was, so that a changed number can be named. Bundles of earlier versions lack it. */
  readonly parts?: PartDigests;
  /** What was left out or coarsened, and what can still be told from the rest; for people. */
  readonly privacy: readonly string[];
  /** Decimals that coarsened columns of the frame table were rounded to. */
  readonly roundedColumns: { readonly [column: string]: number };
  /** The parameters of each notebook as declared, later ones first winning. */
  readonly parameters: { readonly [notebook: string]: { readonly [name: string]: string } };
  /** The limits that subs were graded by. */
  readonly limits: Limits;
  readonly subs: readonly BundledSub[];
  /** Files of the table that were not to be found when the bundle was made. */
  readonly subsNotFound: readonly string[];
}

export const manifestName = "manifest.json";

/**
 * Finds and reads the manifest of a bundle.
 * @throws CannotError when there is none or it is of another format
 */
export function readManifest(entries: readonly ZipEntry[], file: string): BundleManifest {
  const found = entries.find(({ name }) => name === manifestName);
  let json: unknown = null;
  try {
    if (found !== undefined) json = JSON.parse(Buffer.from(found.bytes).toString("utf8"));
  } catch {
    // said below
  }
  if (
    !isObject(json) ||
    json.format !== "nightyield bundle" ||
    !Array.isArray(json.contents) ||
    !Array.isArray(json.subs) ||
    !isObject(json.limits)
  )
    throw new CannotError(
      `${file} is no bundle: it holds no readable ${manifestName}. Give a file that nightyield bundle wrote`,
    );
  if (json.formatVersion !== 1)
    throw new CannotError(
      `${file} is a bundle of format ${JSON.stringify(json.formatVersion)}; this version reads format 1. Install a newer nightyield`,
    );
  return json as unknown as BundleManifest;
}
