import type { GroupSummary } from "../grade/group-summary.js";
import { median, quantile } from "../numbers/quantiles.js";
import { symptomRegistry } from "../terms/symptoms.js";
import { chartRows } from "./chart-rows.js";
import type { NightResult } from "./night-result.js";
import { countWords, durationWords, listWords, percentWords } from "./words.js";

/** "NGC 7000 in H-alpha, 60 s" */
export function groupName({ target, filter, exposureS }: GroupSummary): string {
  return `${target === "" ? "a target without a name" : target}${filter === "" ? "" : ` in ${filter}`}${Number.isFinite(exposureS) ? `, ${durationWords(exposureS)} subs` : ""}`;
}

/** The outcome in one sentence. */
export function headline({ groups }: NightResult): string {
  const sum = (pick: (group: GroupSummary) => number) => groups.reduce((total, group) => total + pick(group), 0);
  const frames = sum((group) => group.frames);
  if (frames === 0) return "There are no light frames here.";
  const judged = frames - sum((group) => group.count.unjudged);
  if (judged === 0) return `${countWords(frames, "sub")}, and none could be judged.`;
  const worth = sum((group) => group.count.keep + group.count.borderline);
  if (worth === 0) return `None of ${countWords(frames, "sub")} is worth stacking.`;
  return `${worth} of ${countWords(frames, "sub")} ${worth === 1 ? "is" : "are"} worth stacking: ${durationWords(sum((group) => group.exposureKeptS))} of ${durationWords(sum((group) => group.exposureAllS))}.`;
}

/** The night in a few sentences: what was kept, what was lost and why. */
export const storyOf = (night: NightResult): string[] => storyParagraphs(night).flat();

/** The same sentences, those that belong together in one paragraph: one a group, then the night as a whole. */
export function storyParagraphs(night: NightResult): string[][] {
  const paragraphs: string[][] = [];
  for (const group of night.groups) paragraphs.push(groupStory(group));
  if (night.groups.length === 0) paragraphs.push(["There are no light frames here, so there is nothing to grade."]);
  paragraphs.push([...lossStory(night), ...skyStory(night)]);
  return paragraphs.filter((sentences) => sentences.length > 0);
}

/** The longest stretch of dropped subs, which tells a cloud bank from single mishaps. */
function lossStory({ table }: NightResult): string[] {
  const { rows, onClock } = chartRows(table);
  let longest: readonly number[] = [];
  for (let from = 0; from < rows.length; from++) {
    let to = from;
    while (to < rows.length && table.verdict[rows[to]!] === "drop") to++;
    if (to - from > longest.length) longest = rows.slice(from, to);
    from = to;
  }
  if (longest.length < 4) return [];
  const clock = (row: number) => table.startUtc[row]!.slice(11, 16);
  const when = onClock ? `, from ${clock(longest[0]!)} to ${clock(longest.at(-1)!)} UTC` : "";
  return [`The longest stretch without a sub worth stacking was ${countWords(longest.length, "sub")}${when}.`];
}

/** Where target and Moon stood, and how warm the sensor was. */
function skyStory({ table }: NightResult): string[] {
  const { rows } = chartRows(table);
  const of = (column: ArrayLike<number>) => rows.map((row) => column[row]!);
  const [altitude, moon, sensor] = [of(table.altitudeDeg), of(table.moonAltitudeDeg), of(table.sensorTempC)];
  const lines: string[] = [];
  const targets = new Set(rows.map((row) => table.target[row]!));
  if (altitude.some(Number.isFinite))
    lines.push(
      `The target${targets.size > 1 ? "s" : ""} stood between ${quantile(altitude, 0).toFixed(0)}\u00b0 and ${quantile(altitude, 1).toFixed(0)}\u00b0 high.`,
    );
  if (moon.some(Number.isFinite)) {
    const up = rows.filter((row) => table.moonAltitudeDeg[row]! > 0);
    const pick = (column: ArrayLike<number>, p: number) =>
      quantile(
        up.map((row) => column[row]!),
        p,
      );
    lines.push(
      up.length === 0
        ? "The Moon stayed below the horizon."
        : `The Moon, ${percentWords(pick(table.moonIllumination, 0.5))} lit, was up for ${countWords(up.length, "sub")} and never closer to the target than ${pick(table.moonSeparationDeg, 0).toFixed(0)}\u00b0.`,
    );
  }
  if (sensor.some(Number.isFinite)) {
    const [low, high] = [quantile(sensor, 0), quantile(sensor, 1)];
    lines.push(
      high - low < 0.5
        ? `The sensor stayed at ${median(sensor).toFixed(0)} \u00b0C.`
        : `The sensor was between ${low.toFixed(1)} and ${high.toFixed(1)} \u00b0C.`,
    );
  }
  return lines;
}

function groupStory(group: GroupSummary): string[] {
  const { frames, count, exposureKeptS, exposureAllS, effectiveKeptS, symptomsOfDropped } = group;
  const name = groupName(group);
  if (count.unjudged === frames)
    return [`${name}: ${countWords(frames, "sub")}, too few to compare with one another, so none was judged.`];
  const worth = count.keep + count.borderline;
  const lines = [
    `${name}: ${worth} of ${countWords(frames, "sub")} (${durationWords(exposureKeptS)} of ${durationWords(exposureAllS)}) are worth stacking` +
      `${count.borderline > 0 ? `, ${count.borderline} of them borderline` : ""}.`,
    `Together they go as deep as ${durationWords(effectiveKeptS)} under the best conditions of these subs (${percentWords(effectiveKeptS / exposureKeptS)}).`,
  ];
  if (worth === 0) lines.pop();
  if (count.drop === 0) lines.push("None has to be dropped.");
  else {
    const reasons = symptomsOfDropped.slice(0, 4).map(([code, n]) => `${symptomRegistry[code].short} (${n})`);
    lines.push(
      `${countWords(count.drop, "sub")} ${count.drop === 1 ? "is" : "are"} to be dropped: ${listWords(reasons)}.`,
    );
  }
  if (count.unjudged > 0) lines.push(`${countWords(count.unjudged, "sub")} could not be judged.`);
  return lines;
}
