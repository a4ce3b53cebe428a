import type { AlignmentStars } from "../plan/alignment-stars.js";
import type { FilterAdvice, FilterComparison, FilterWarning } from "../plan/filter-advice.js";
import type { Band } from "../plan/filter-bands.js";
import type { ObjectKind } from "../sky/objects.js";
import { digits } from "./digits.js";
import { filterName } from "./plan-words.js";
import { listWords } from "./words.js";

const kinds: Readonly<Record<ObjectKind, string>> = {
  "emission-nebula": "an emission nebula",
  "reflection-nebula": "a reflection nebula",
  "planetary-nebula": "a planetary nebula",
  "supernova-remnant": "a supernova remnant",
  galaxy: "a galaxy",
  "globular-cluster": "a globular cluster",
  "open-cluster": "an open cluster",
  "dark-nebula": "a dark nebula",
  stars: "a group of stars",
};
const bands: Readonly<Record<Band, string>> = { narrowband: "a narrowband filter", broadband: "a broadband filter" };
/** From this brightness on a sky counts as bright: class 5 and up on the copied chart of Bortle classes. */
const brightSkyMag = 20.49;

/**
 * Which filter suits a target and what that is worth; one fact a line.
 * @example
 * ```ts
 * import { filterAdvice, filterAdviceText } from "nightyield";
 * console.log(filterAdvice(table).map(filterAdviceText).join("\n"));
 * ```
 */
export function filterAdviceText(advice: FilterAdvice): string {
  const { target, object, kind, light, wanted, comparison, skyMagArcsec2, used } = advice;
  const name = target || "(no target)";
  if (kind === null || light === null || wanted === null)
    return `${name}, filters: which suits it is not known, as the object is not in the table`;
  const called = object !== null && object.toLowerCase() !== name.toLowerCase() ? ` (${object})` : "";
  const shines = light === "lines" ? "it shines in emission lines" : "its light has all colours";
  const lines = [
    `${name}${called}, filters: ${kinds[kind]}, ${shines}: ${bands[wanted]} is the usual choice (common practice)`,
  ];
  const fitting = used.filter(({ fits }) => fits === true).map(({ filter }) => filterName(filter));
  if (fitting.length > 0) lines.push(`  you use ${listWords(fitting)}: that fits`);
  if (comparison !== null) lines.push(...comparisonLines(comparison, light));
  if (light === "continuum" && skyMagArcsec2 < brightSkyMag)
    lines.push(
      `  the sky had ${digits(skyMagArcsec2, 3)} mag/arcsec2, which is bright: no filter parts such light from it; nights without the Moon and more hours do`,
    );
  const moonlit = used.filter(({ band, moonUpShare }) => band === "broadband" && moonUpShare > 0.3);
  if (moonlit.length > 0)
    lines.push(
      `  the Moon was up for ${moonlit.map(({ filter, moonUpShare }) => `${digits(100 * moonUpShare, 2)} % of the kept subs in ${filterName(filter)}`).join(" and ")}: it costs broad bands the most`,
    );
  return lines.join("\n");
}

function comparisonLines(comparison: FilterComparison, light: "lines" | "continuum"): string[] {
  const { slow, fast, fastBand, timeFactor, low, high, basis, bound, widthsNm } = comparison;
  const other = fast === null ? bands[fastBand] : filterName(fast);
  const on = light === "lines" ? "on the lines it shines in" : "on its light";
  // A bound is told by its far end alone.
  const times =
    bound === "at-most"
      ? `at most ${digits(high, 2)} times`
      : bound === "at-least"
        ? `at least ${digits(low, 2)} times`
        : `about ${digits(timeFactor, 2)} times${low === high ? "" : ` (${digits(low, 2)} to ${digits(high, 2)})`}`;
  const lines = [
    timeFactor > 1
      ? `  for the same signal over noise ${on}, ${filterName(slow)} takes ${times} as long as ${other}`
      : `  ${filterName(slow)} takes ${times} as long as ${other} ${on}: by these subs the usual choice gains nothing`,
  ];
  lines.push(
    basis === "measured"
      ? "    from the sky measured in both, halves of the subs within the range; taken for granted: the filter passes its lines as well as the other does, or all light as it does the sky's"
      : `    from the sky in ${filterName(slow)} and band widths of ${digits(widthsNm!.slow)} and ${digits(widthsNm!.fast)} nm (${widthsNm!.fastAssumed ? "assumed; --narrowband-nm gives yours" : "the narrow one as given"}), as if the sky shone alike in all colours`,
  );
  if (bound !== null) lines.push("    a bound, as the read noise is not known: --gain E_PER_ADU and --read-noise E");
  return lines;
}

/** A warning for the end of the output. */
export function filterWarningWords(warning: FilterWarning, target: string): string {
  switch (warning.code) {
    case "filter-does-not-fit":
      return `${target}: ${filterName(warning.filter)} is ${bands[warning.band]}, but for this kind of object ${bands[warning.wanted]} is the usual choice`;
    case "filter-not-known":
      return `${target}: what ${warning.filter === "" ? "filter was used is not in the headers" : `the filter '${warning.filter}' lets through cannot be told from its name`}; a --site-file with "filter" says it to triage`;
    case "object-not-known":
      return `'${target}' is not in the table of deep-sky objects, so no filter can be advised: give --target NAME`;
    default:
      return warning satisfies never;
  }
}

/**
 * How many stars alignment frames would show; one line a filter.
 * @example
 * ```ts
 * import { alignmentStars, alignmentText } from "nightyield";
 * console.log(alignmentText(alignmentStars(table)));
 * ```
 */
export function alignmentText(stars: readonly AlignmentStars[]): string {
  const [first] = stars;
  const lines = stars.map((one) => {
    const counts = one.frames
      .map(
        ({ exposureS, stars: n }) =>
          `${digits(exposureS)} s: ${n.p50.toFixed(0)} (${n.p10.toFixed(0)}-${n.p90.toFixed(0)})`,
      )
      .join(", ");
    const from = Number.isNaN(one.enoughFromS)
      ? `${one.enough} are not to be had in two minutes`
      : `${one.enough} or more nine times of ten from ${digits(one.enoughFromS)} s`;
    const basis =
      one.basis === "own-counts"
        ? `from ${one.subs} subs of ${digits(one.fromExposureS)} s`
        : `not used so far: from ${filterName(one.fromFilter)} and usual band widths`;
    const growth = one.slope.from === "measured" ? "growth of counts with depth measured" : "growth of counts assumed";
    return `  ${filterName(one.filter)} ${counts}; ${from} (${basis}; ${growth}${one.readNoiseKnown ? "" : "; read noise not known"})`;
  });
  return [`${first.target || "(no target)"}, stars in one frame of this field, 50 % (10-90 %):`, ...lines].join("\n");
}

/** A warning where too few stars are expected; null where there are enough. */
export function alignmentWarning(one: AlignmentStars): string | null {
  if (one.verdict === "enough") return null;
  const [{ exposureS, stars }] = one.frames;
  const found = `an alignment frame of ${digits(exposureS)} s in ${filterName(one.filter)} shows about ${stars.p50.toFixed(0)} stars (${stars.p10.toFixed(0)}-${stars.p90.toFixed(0)})`;
  const remedy = Number.isNaN(one.enoughFromS)
    ? "align through a broader filter"
    : `expose at least ${digits(one.enoughFromS)} s, or align through a broader filter`;
  return `${one.target}: ${found}; ${one.enough} are wanted: ${remedy}`;
}
