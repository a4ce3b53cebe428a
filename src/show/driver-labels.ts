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

/** A change of the logarithm as people say it: "-12 %", "+40 %", "3.2 times". */
export function changeWords(log: number): string {
  if (!Number.isFinite(log))
    return log === Number.POSITIVE_INFINITY ? "without limit" : Number.isNaN(log) ? "not known" : "to nothing";
  const ratio = Math.exp(log);
  if (ratio >= 2) return ratio >= 1000 ? "more than 1000 times" : `${ratio.toFixed(ratio < 10 ? 1 : 0)} times`;
  const percent = 100 * (ratio - 1);
  if (Math.abs(percent) < 0.05) return "0.0 %";
  if (percent < -99.9) return "below \u221299.9 %";
  const digits = Math.abs(percent) < 10 || percent < -99 ? 1 : 0;
  return `${percent < 0 ? "\u2212" : "+"}${Math.abs(percent).toFixed(digits)} %`;
}
