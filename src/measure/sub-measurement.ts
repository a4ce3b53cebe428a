import { fromExactJson, toExactJson } from "../numbers/exact-json.js";
import { packBrightStars } from "./bright-stars.js";
import type { FrameMeasurement } from "./measure-frame.js";

/** What is kept of a measured sub: all but its pixels and faint stars. It crosses threads and is remembered. */
export interface SubMeasurement extends Omit<FrameMeasurement, "scratch" | "stars" | "blocked"> {
  /** Packed by {@link packBrightStars}. */
  readonly brightStars: Uint8Array;
}

/** Keeps of a measured frame what the night needs. */
export function subMeasurement({ scratch: _, blocked: _map, stars, ...rest }: FrameMeasurement): SubMeasurement {
  return { ...rest, brightStars: packBrightStars(stars) };
}

/** A measured sub as one line of text; {@link readSubMeasurement} gives it back to the last bit. */
export const writeSubMeasurement = ({ brightStars, ...rest }: SubMeasurement): string =>
  toExactJson({ ...rest, brightStars: Buffer.from(brightStars).toString("base64") });

/** @throws SyntaxError when the text is not JSON */
export function readSubMeasurement(text: string): SubMeasurement {
  const { brightStars, ...rest } = fromExactJson(text) as Omit<SubMeasurement, "brightStars"> & { brightStars: string };
  return { ...rest, brightStars: new Uint8Array(Buffer.from(brightStars, "base64")) };
}
