import { objectLines } from "./object-data.js";

/** What kind of light an object gives, which decides the filter. `stars`: a group that is no cluster. */
export const objectKinds = [
  "emission-nebula",
  "reflection-nebula",
  "planetary-nebula",
  "supernova-remnant",
  "galaxy",
  "globular-cluster",
  "open-cluster",
  "dark-nebula",
  "stars",
] as const;
export type ObjectKind = (typeof objectKinds)[number];

/** A deep-sky object. NaN: the catalogue does not say. */
export interface SkyObject {
  /** The usual designation, as "M 31" or "NGC 6888". */
  readonly name: string;
  /** Other designations and common names. */
  readonly otherNames: readonly string[];
  readonly kind: ObjectKind;
  /** J2000, degrees. Good to an arcminute for small objects, to some arcminutes for large nebulae. */
  readonly raDeg: number;
  readonly decDeg: number;
  /** Extent along the long and the short axis, arcmin. */
  readonly majorArcmin: number;
  readonly minorArcmin: number;
  /** Total magnitude, V or near it. */
  readonly magnitude: number;
  /**
   * The magnitude spread over the ellipse of the size, mag/arcsec2; NaN without size or magnitude, and for stars and
   * dark nebulae. A mean: galaxies
   * have brighter cores, and the catalogued magnitudes of nebulae often hold the light of their stars.
   */
  readonly surfaceMagArcsec2: number;
}

const kindOfCode: Readonly<Record<string, ObjectKind>> = {
  E: "emission-nebula",
  R: "reflection-nebula",
  P: "planetary-nebula",
  S: "supernova-remnant",
  G: "galaxy",
  C: "globular-cluster",
  O: "open-cluster",
  D: "dark-nebula",
  A: "stars",
};
const withoutSurface: ReadonlySet<ObjectKind> = new Set(["open-cluster", "dark-nebula", "stars"]);

let table: readonly SkyObject[] | undefined;

/** All objects of the table (object-data.ts names its source). */
export function skyObjects(): readonly SkyObject[] {
  table ??= objectLines.trim().split("\n").map(objectOf);
  return table;
}

/**
 * The mean brightness of a magnitude spread over an ellipse: m + 2.5 log10(pi/4 a b).
 * @param majorArcmin - full length
 * @param minorArcmin - full width
 * @returns mag/arcsec2
 */
export function meanSurfaceMag(magnitude: number, majorArcmin: number, minorArcmin: number): number {
  return magnitude + 2.5 * Math.log10((Math.PI / 4) * majorArcmin * minorArcmin * 3600);
}

function objectOf(line: string): SkyObject {
  const [name, code, ra, dec, size, magnitude, others] = line.split("|") as [
    string,
    string,
    string,
    string,
    string,
    string,
    string,
  ];
  const [major, minor] = size.split("x").map(numberOf) as [number, number?];
  const kind = kindOfCode[code]!;
  const mag = numberOf(magnitude);
  return {
    name,
    otherNames: others === "" ? [] : others.split(","),
    kind,
    raDeg: Number(ra),
    decDeg: Number(dec),
    majorArcmin: major,
    minorArcmin: minor ?? major,
    magnitude: mag,
    surfaceMagArcsec2: withoutSurface.has(kind) ? Number.NaN : meanSurfaceMag(mag, major, minor ?? major),
  };
}

const numberOf = (text: string) => (text === "" ? Number.NaN : Number(text));
