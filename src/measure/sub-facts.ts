import type { ExposureFacts } from "../read/exposure-facts.js";
import type { Fact } from "../read/facts.js";
import type { FrameRow } from "../terms/frame-table.js";
import type { MeasureOptions } from "./measure-frame.js";

/** A number of the camera, and who says it: the header, or the user. */
export interface SaidNumber {
  readonly value: number;
  readonly from: "header" | "given";
}

/** What headers and the user say of the camera. null: nothing. */
export interface SaidCamera {
  readonly electronsPerAdu: SaidNumber | null;
  readonly readNoiseE: SaidNumber | null;
  /** Level of a frame without light and time. */
  readonly pedestalAdu: SaidNumber | null;
}

/** What the night needs of a file's headers; plain values that can be remembered. null: not known. */
export interface SubFacts {
  /** The columns that headers give. */
  readonly described: Partial<FrameRow>;
  readonly site: { readonly latitudeDeg: number; readonly longitudeDeg: number; readonly heightM: number } | null;
  readonly raDeg: number | null;
  readonly decDeg: number | null;
  /** Start of the exposure, Unix milliseconds. */
  readonly startUtcMs: number | null;
  readonly camera: SaidCamera;
  /** Frames in the file, where the header says that it is a sum or a mean of several; else 1. */
  readonly framesSummed: number;
  /** What measuring must know. */
  readonly options: Omit<MeasureOptions, "scratch">;
}

/**
 * Sums up an exposure's facts.
 * @param size - of the image, pixels
 */
export function subFacts(
  facts: ExposureFacts,
  { width, height }: { readonly width: number; readonly height: number },
): SubFacts {
  const numberOf = (fact: { readonly value: number } | null) => fact?.value ?? Number.NaN;
  const bayer = facts.bayer?.value ?? "";
  return {
    described: {
      kind: facts.kind.value,
      target: facts.target?.value ?? "",
      filter: facts.filter?.value ?? "",
      filterKind: facts.filterKind.value,
      startUtc: facts.startUtc?.value ?? "",
      exposureS: numberOf(facts.exposureS),
      gainSetting: numberOf(facts.gainSetting),
      sensorTempC: numberOf(facts.sensorTempC),
      width,
      height,
      bayer,
      pixelScaleArcsec: numberOf(facts.pixelScaleArcsec),
      note: facts.notes.join("; "),
    },
    site: facts.site?.value ?? null,
    raDeg: facts.raDeg?.value ?? null,
    decDeg: facts.decDeg?.value ?? null,
    startUtcMs: facts.startUtcMs?.value ?? null,
    camera: {
      electronsPerAdu: said(facts.electronsPerAdu),
      readNoiseE: said(facts.readNoiseE),
      // A negative one is what has to be added, in the habit of whoever wrote it: not used.
      pedestalAdu: (facts.pedestalAdu?.value ?? 0) > 0 ? said(facts.pedestalAdu) : null,
    },
    framesSummed: facts.framesSummed?.value ?? 1,
    options: {
      bayer,
      electronsPerAdu: numberOf(facts.electronsPerAdu),
      saturationAdu: numberOf(facts.saturationAdu),
    },
  };
}

const said = (fact: Fact<number> | null): SaidNumber | null =>
  fact === null ? null : { value: fact.value, from: "given" in fact.from ? "given" : "header" };
