import type { Outlook } from "../plan/forecast.js";
import type { NightWindow } from "../plan/windows.js";
import { bytesText } from "./digits.js";
import { tableHtml } from "./html.js";
import { assumedZenithMag, type DeeperStep, type FilterLeft, type Left, type TargetCalendar } from "./left.js";
import { filterName } from "./plan-words.js";
import { countWords, dayWords, durationWords, percentWords } from "./words.js";

const nameOf = ({ target, filter }: { readonly target: string; readonly filter: string }) =>
  `${target || "a target without a name"}${filter === "" ? "" : ` in ${filter}`}`;
const upper = (text: string) => `${text.charAt(0).toUpperCase()}${text.slice(1)}`;

/** What there is and what twice as deep takes, one sentence or two for each target and filter. */
export function leftLines({ filters, nothingKept, notShown }: Left): string[] {
  const lines = filters.map(({ depth, steps }) => {
    const twice = steps.at(-1)!;
    const name = upper(nameOf(depth));
    return `${name}: ${countWords(depth.kept, "kept sub")}, ${durationWords(depth.exposureS)}, worth ${durationWords(depth.effectiveS)} under the best conditions. ${deeperWords(twice)}`;
  });
  lines.push(
    ...nothingKept.map((depth) => `${upper(nameOf(depth))}: nothing is kept yet, so nothing can be foretold.`),
  );
  if (notShown > 0)
    lines.push(
      `${countWords(notShown, "more target and filter", "more targets and filters")} with less than these: \u201cnightyield remaining\u201d tells them.`,
    );
  return lines;
}

/** "To go twice as deep takes about 3 h more (2 h to 4 h), which is 7 nights like these (5 to 10) and 49 MB." */
function deeperWords({ factor, clockS, nights, bytes, nightsAhead }: DeeperStep): string {
  const wish = factor === 2 ? "twice as deep" : `${factor} times as deep`;
  if (!Number.isFinite(nights.p50)) return `To go ${wish} would take more than ${nightsAhead} nights like these.`;
  const range = (values: Outlook, words: (value: number) => string) =>
    `${words(values.p10)} to ${Number.isFinite(values.p90) ? words(values.p90) : "more"}`;
  return `To go ${wish} takes about ${durationWords(clockS.p50)} of capture more (${range(clockS, durationWords)}): ${countWords(Math.ceil(nights.p50), "night")} like these (${range(nights, whole)}), ${bytesText(bytes.p50)} of files.`;
}

const whole = (value: number) => String(Math.ceil(value));

/** How these numbers are to be read. */
export function leftNote({ filters, calendars }: Left): string {
  const assumed = filters.some(({ assumedScatter }) => assumedScatter)
    ? " With fewer than three nights so far, how much nights differ is mostly assumed (by a fifth); where yours differ by more, the ranges are too narrow."
    : "";
  const coming =
    calendars.length === 0
      ? ""
      : ` What coming nights are worth is reckoned for an assumed sky of ${assumedZenithMag} mag/arcsec\u00b2 at the zenith.`;
  return `Depth is signal over noise, so twice as deep takes four times the integration in all. No goal was set: \u201ctwice as deep\u201d is only a measure. In brackets the range that 8 of 10 forecasts stay in. Nights count only where the sky lets you use them; those that are clouded out come on top.${assumed}${coming}`;
}

/** All of it as a table. */
export function leftTable({ filters }: Left): string {
  const outlook = (values: Outlook, words: (value: number) => string) =>
    Number.isFinite(values.p50)
      ? `${words(values.p50)} (${words(values.p10)} \u2013 ${Number.isFinite(values.p90) ? words(values.p90) : "more"})`
      : "more than looked at";
  return tableHtml(
    "What going deeper takes, on top of what there is; in brackets the 10 and 90 % values",
    ["Target and filter", "Nights", "Kept", "Worth", "Of clock time", "Depth", "Capture", "More nights", "Files"],
    filters.flatMap(({ depth, steps }: FilterLeft) =>
      steps.map((step) => [
        `${depth.target || "(no target)"}, ${filterName(depth.filter)}`,
        String(depth.nights.length),
        durationWords(depth.exposureS),
        durationWords(depth.effectiveS),
        percentWords(depth.yield),
        `\u00d7 ${step.factor}`,
        outlook(step.clockS, durationWords),
        outlook(step.nights, whole),
        outlook(step.bytes, bytesText),
      ]),
    ),
  );
}

/** "18 November" of the evening of a night. */
const evening = (noonMs: number) => dayWords(new Date(noonMs).toISOString()).replace(/ \d{4}$/, "");

/** When the target can be taken, in sentences. */
export function calendarWords({ target, filter, plan }: TargetCalendar): string {
  const { windows, minAltitudeDeg, altitudeFrom, doneBy } = plan;
  const open = windows.filter(({ hours }) => hours > 0);
  const why = {
    given: "",
    "own-yield": " (below that your own subs were worth less than half)",
    default: " (a usual limit)",
  }[altitudeFrom];
  const above = `above ${minAltitudeDeg.toFixed(0)}\u00b0${why} in the dark`;
  const name = target || "The target";
  if (open.length === 0) return `${name} is never ${above} in the ${windows.length} nights that follow.`;
  const [first, last] = [open[0]!, open.at(-1)!];
  const best = open.reduce((most, night) => (night.effectiveHours > most.effectiveHours ? night : most));
  const length = (night: NightWindow) => durationWords(60 * Math.round(60 * night.hours));
  const span =
    open.length === 1
      ? `for ${length(first)} on the night of ${evening(first.noonMs)} only`
      : `for ${length(first)} on the night of ${evening(first.noonMs)} and ${length(last)} on that of ${evening(last.noonMs)}`;
  const nights = open.length < windows.length ? ` (${open.length} of ${windows.length} nights)` : "";
  const done =
    doneBy.p50 === null
      ? ""
      : ` With every night clear and used whole, ${filter === "" ? "it" : filter} would be twice as deep by that of ${evening(doneBy.p50)}.`;
  return `${name} is ${above} ${span}${nights}. By altitude and Moon the night of ${evening(best.noonMs)} is worth most.${done}`;
}
