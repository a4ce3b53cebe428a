import type { Factor, MetricCode } from "../explain/drivers-terms.js";

/** What is compared, as a heading. */
export const metricLabels: Readonly<Record<MetricCode, string>> = {
  rejects: "Odds of being dropped",
  fwhm: "Width of the stars",
  transparency: "Transparency of the air",
  background: "Background",
  noise: "Noise of the background",
};

/** What changes by its step, as a label: "10° higher". */
export function factorLabel({ code, filter, against }: Factor): string {
  switch (code) {
    case "altitude":
      return "target 10\u00b0 higher";
    case "sensor-temperature":
      return "sensor 1 \u00b0C warmer";
    case "moon":
      return "full Moon overhead instead of none";
    case "twilight":
      return "Sun 6\u00b0 further into twilight";
    case "hour":
      return "an hour later";
    case "exposure":
      return "twice the exposure";
    case "filter":
      return `filter ${filter || "none"} instead of ${against || "none"}`;
    default:
      return code satisfies never;
  }
}
