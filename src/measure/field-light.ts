import { median, quantile } from "../numbers/quantiles.js";
import { meanThroughCloud } from "./cloud-light.js";
import { fluxRatio, type LightRatio, type PlacedPair, sureLogs } from "./flux-ratio.js";
import { withoutVignetting } from "./vignetting.js";

/** Stars scatter less than this (logarithm) behind a clear sky or an even veil. */
const evenScatter = 0.02;
/** A star must be found even behind a cloud thicker than usual by so many times the scatter. */
const thicker = 2;
const foundSnr = 8;
const fewest = 12;
/** One in ten of a normal sample lies farther off than this. */
const sigmasOfTenth = 1.645;
/** Flat fields and colours make even bright stars differ by this much. */
const leastError = 0.01;

/**
 * How much of the starlight reached a sub, against another: the mean over the field, as an extended object is dimmed by
 * it. Behind a clear sky or an even veil all stars say the same, and their best mean is taken ({@link fluxRatio}). Behind
 * patchy cloud that mean would be wrong in three ways: it is a mean of logarithms, which lies below the mean of the
 * light; it counts places with many bright stars more; and stars behind the thickest part are not found at all. There,
 * stars are chosen by their light in the other sub, and what they say of the cloud is averaged over the field
 * ({@link meanThroughCloud}). In between, both results by weight. Where the field has moved between the subs, what vignetting makes of it is
 * fitted and taken off.
 * @param usualSky - light of unseen stars that may lie under each star, as for {@link fluxRatio}
 */
export function fieldLight(
  given: readonly PlacedPair[],
  field: { readonly width: number; readonly height: number },
  usualSky = 0,
): Pick<LightRatio, "zeroPoint" | "zeroPointError"> {
  const { pairs: flat, error: bent } = withoutVignetting(given);
  const even = fluxRatio(flat, usualSky);
  const pairs = flat.map((pair) => ({ ...pair, flux: pair.flux - even.skyAdu }));
  const widened = ({ zeroPoint, zeroPointError }: Pick<LightRatio, "zeroPoint" | "zeroPointError">) => ({
    zeroPoint,
    zeroPointError: Math.hypot(zeroPointError, bent * zeroPoint),
  });
  const scatter = Math.max(even.scatter, widestScatter(pairs));
  const patchy = 1 - (evenScatter / scatter) ** 2;
  if (!(patchy > 0)) return widened(even);
  const depth = even.zeroPoint * Math.exp(-thicker * scatter);
  const chosen = pairs.filter(
    ({ flux, error, before, beforeError }) =>
      flux > 0 && before > 10 * beforeError && before * depth > foundSnr * error,
  );
  const used = chosen.length >= fewest ? chosen : pairs.filter(({ flux, before }) => flux > 0 && before > 0);
  if (used.length < fewest) return widened(even);
  // Errors by the light in the other sub, not by what noise made of it in this one.
  const mean = meanThroughCloud(
    used.map(({ x, y, flux, error, before, beforeError }) => ({
      x,
      y,
      light: flux / before,
      error: Math.hypot(error, even.zeroPoint * beforeError, leastError * even.zeroPoint * before) / before,
    })),
    field,
  );
  if (mean === null) return widened(even);
  const mixed = (a: number, b: number) => patchy * a + (1 - patchy) * b;
  return widened({
    zeroPoint: mixed(mean.mean, even.zeroPoint),
    zeroPointError: mixed(mean.error, even.zeroPointError),
  });
}

/**
 * Scatter of the stars beyond their errors when all but the strangest tenth count: the usual robust measures would take
 * a cloud over less than half of the field for outliers.
 */
function widestScatter(pairs: readonly PlacedPair[]): number {
  const sure = sureLogs(pairs.filter(({ flux, before }) => flux > 0 && before > 0));
  if (sure.length < fewest) return 0;
  const middle = median(sure.map(({ log }) => log));
  const excess = sure.map(({ log, error }) => (log - middle) ** 2 - (sigmasOfTenth * error) ** 2);
  return Math.sqrt(Math.max(0, quantile(excess, 0.9))) / sigmasOfTenth;
}
