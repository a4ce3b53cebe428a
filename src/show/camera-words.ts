import type { NoiseModel, NumberSource, Sourced } from "../plan/noise-model.js";
import { digits } from "./digits.js";

const sources: Readonly<Record<NumberSource, string>> = {
  given: "",
  "given-to-triage": "as given to triage",
  headers: "from the headers",
  "bias-frames": "from bias frames",
  "dark-frames": "from dark frames",
  "flat-frames": "from flat frames",
  "photon-transfer": "from how noise grows with the sky's level in your subs, good to a fifth",
  "exposure-lengths": "from subs of two lengths",
};

/** A number that was found, and where; empty for what a flag gave. */
export function sourceText(sourced: Sourced | null, unit: string): string {
  if (sourced === null || sourced.from === "given") return "";
  const { value, error, bound, from, headersSay } = sourced;
  const most = bound === "at-most";
  const value3 = `${most ? "at most " : ""}${digits(value)}${most || error === undefined ? "" : ` +- ${digits(error, 1)}`}`;
  const charge = most ? ", whose dark current is still in it" : "";
  const headers = headersSay === undefined ? "" : `; the headers say ${digits(headersSay)}`;
  return `${value3} ${unit} ${sources[from]}${charge}${headers}`;
}

/** e-/ADU and read noise with where they come from; empty where flags gave both, or neither is known. */
export const cameraText = (noise: NoiseModel | null): string =>
  noise === null
    ? ""
    : [sourceText(noise.electronsPerAdu, "e-/ADU"), sourceText(noise.readNoiseE, "e- read noise")]
        .filter((text) => text !== "")
        .join("; ");
