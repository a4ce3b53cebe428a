import type { FilterKind, FrameKind } from "../terms/verdicts.js";
import { bayerFact } from "./bayer-facts.js";
import { exposureFact, framesSummedFact, gainFacts, temperatureFacts } from "./camera-facts.js";
import { coordinateFacts } from "./coordinate-facts.js";
import { dialects } from "./dialects.js";
import { bare, type Fact, type GivenFrom, lookIn, type Origin } from "./facts.js";
import type { Header } from "./header.js";
import { filterFact, filterKindFact, kindFact } from "./kind-facts.js";
import { scaleFacts } from "./scale-facts.js";
import { siteFact } from "./site-facts.js";
import { startFact } from "./start-facts.js";

/** What the user can say when headers do not, or say it wrongly. A given value wins; a difference is noted. */
export interface GivenValues {
  readonly name?: string;
  readonly latitudeDeg?: number;
  /** East positive. */
  readonly longitudeDeg?: number;
  /** Which way the headers' own longitude counts, where the headers are known for it. */
  readonly headerLongitude?: "east-positive" | "west-positive";
  readonly heightM?: number;
  readonly target?: string;
  readonly raDeg?: number;
  readonly decDeg?: number;
  readonly pixelScaleArcsec?: number;
  readonly focalLengthMm?: number;
  readonly pixelSizeUm?: number;
  readonly electronsPerAdu?: number;
  readonly readNoiseE?: number;
  readonly saturationAdu?: number;
  readonly gainSetting?: number;
  readonly exposureS?: number;
  readonly filter?: string;
  readonly bayer?: string;
  /** Seconds that the camera's clock was ahead of UTC. */
  readonly clockAheadS?: number;
}

/** Given values and where they came from; later ones win. */
export type Given = readonly { readonly from: GivenFrom; readonly values: GivenValues }[];

/** What is known of an exposure, each value with its origin; null: not known. */
export interface ExposureFacts {
  readonly kind: Fact<FrameKind>;
  readonly target: Fact<string> | null;
  readonly filter: Fact<string> | null;
  readonly filterKind: Fact<FilterKind>;
  /** Start of the exposure as ISO text, UTC. */
  readonly startUtc: Fact<string> | null;
  /** The same as Unix milliseconds. */
  readonly startUtcMs: Fact<number> | null;
  readonly exposureS: Fact<number> | null;
  readonly gainSetting: Fact<number> | null;
  readonly electronsPerAdu: Fact<number> | null;
  readonly readNoiseE: Fact<number> | null;
  readonly sensorTempC: Fact<number> | null;
  readonly setTempC: Fact<number> | null;
  readonly ambientTempC: Fact<number> | null;
  /** Taken as J2000 (ICRS) unless the notes say otherwise. */
  readonly raDeg: Fact<number> | null;
  readonly decDeg: Fact<number> | null;
  /** East positive; height 0 m where nobody says. */
  readonly site: Fact<{ readonly latitudeDeg: number; readonly longitudeDeg: number; readonly heightM: number }> | null;
  readonly focalLengthMm: Fact<number> | null;
  /** Of the pixels as stored, after binning. */
  readonly pixelSizeUm: Fact<number> | null;
  readonly pixelScaleArcsec: Fact<number> | null;
  readonly binningX: Fact<number> | null;
  readonly binningY: Fact<number> | null;
  /** Colour mosaic of the image as stored, first stored row first. */
  readonly bayer: Fact<string> | null;
  readonly saturationAdu: Fact<number> | null;
  readonly pedestalAdu: Fact<number> | null;
  readonly framesSummed: Fact<number> | null;
  /** Contradictions, assumptions and gaps, in words. */
  readonly notes: readonly string[];
}

/**
 * Reads what an exposure's headers say, in any of the dialects of {@link dialects}.
 * @param headers - the image's own header first, then the primary one, which counts where the first is silent
 * @param given - what the user says
 * @example
 * ```ts
 * import { exposureFacts, openFile, openFits } from "nightyield";
 * const source = openFile("subs/NGC6888_L_30s_0002.fits.fz");
 * const headers = openFits(source).hdus.map(({ header }) => header);
 * console.log(exposureFacts(headers).exposureS?.value, "s");
 * source.close();
 * ```
 */
export function exposureFacts(headers: readonly Header[], given: Given = []): ExposureFacts {
  const notes: string[] = [];
  const look = lookIn(headers, given, notes);
  const exposureS = exposureFact(look);
  const lengthS = exposureS?.value ?? Number.NaN;
  const start = startFact(look, lengthS);
  const { raDeg, decDeg } = coordinateFacts(look);
  const filter = filterFact(look);
  const positive = (n: number) => n > 0;
  const facts = {
    kind: kindFact(look, lengthS),
    target: look.prefer("target", look.text(dialects.target), "target"),
    filter,
    filterKind: filterKindFact(filter),
    startUtc: start?.text ?? null,
    startUtcMs: start?.ms ?? null,
    exposureS,
    ...gainFacts(look),
    // 0 means that nobody told the camera.
    readNoiseE: look.prefer("readNoiseE", look.number(dialects.readNoise, positive), "read noise"),
    ...temperatureFacts(look),
    raDeg,
    decDeg,
    site: siteFact(look, { startMs: start?.ms.value ?? Number.NaN, raDeg: raDeg?.value ?? Number.NaN }),
    ...scaleFacts(look),
    bayer: bayerFact(look),
    saturationAdu: look.prefer("saturationAdu", look.number(dialects.saturation, positive), "saturation"),
    pedestalAdu: bare(look.number(dialects.pedestal)),
    framesSummed: framesSummedFact(look),
  };
  return { ...facts, notes };
}

export type { Fact, Origin };
