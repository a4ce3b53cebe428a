import type { ObjectKind } from "../sky/objects.js";
import type { FilterKind } from "../terms/verdicts.js";

/** What an object shines with: emission lines, or light of all colours (stars, and dust that reflects or hides them). */
export type ObjectLight = "lines" | "continuum";
/** The two ways to filter it. */
export type Band = "broadband" | "narrowband";

/** Common practice, no source: narrow bands for gas that glows in lines, broad ones for the light of stars. */
const lights: Readonly<Record<ObjectKind, ObjectLight>> = {
  "emission-nebula": "lines",
  "planetary-nebula": "lines",
  "supernova-remnant": "lines",
  "reflection-nebula": "continuum",
  "dark-nebula": "continuum",
  galaxy: "continuum",
  "globular-cluster": "continuum",
  "open-cluster": "continuum",
  stars: "continuum",
};

export const lightOf = (kind: ObjectKind): ObjectLight => lights[kind];
export const bandFor = (light: ObjectLight): Band => (light === "lines" ? "narrowband" : "broadband");

/** Which of the two a filter is; null where its name does not say. No filter is a broad band. */
export function bandOf(filterKind: string): Band | null {
  switch (filterKind as FilterKind) {
    case "narrowband":
    case "dual-band":
      return "narrowband";
    case "broadband":
    case "none":
      return "broadband";
    default:
      return null;
  }
}

/** Width of a band, nm, with the range in which most filters of its kind lie. */
export interface BandWidth {
  readonly nm: number;
  readonly lowNm: number;
  readonly highNm: number;
  readonly assumed: boolean;
}

/**
 * How wide a filter is where nobody says: assumed, from what is sold (common practice, no source).
 * @param name - of the filter: single colours are a third as wide as luminance
 * @param narrowNm - the user's, for narrowband filters
 */
export function widthOf(filterKind: string, name: string, narrowNm?: number): BandWidth {
  if (bandOf(filterKind) === "narrowband") {
    if (narrowNm !== undefined) return { nm: narrowNm, lowNm: narrowNm, highNm: narrowNm, assumed: false };
    const lines = filterKind === "dual-band" ? 2 : 1;
    return { nm: 7 * lines, lowNm: 3 * lines, highNm: 12 * lines, assumed: true };
  }
  const single = /^(?:r|g|b|red|green|blue|[ubvri]|[ugriz]')$/i.test(name.trim());
  return single
    ? { nm: 90, lowNm: 70, highNm: 120, assumed: true }
    : { nm: 280, lowNm: 240, highNm: 320, assumed: true };
}
