import type { Episode } from "../explain/episodes.js";
import type { Explanation } from "../explain/explain-night.js";
import { type CauseCode, causeRegistry } from "../terms/causes.js";
import { adviceLine } from "./causes-words.js";
import { countWords, dayWords, durationWords, percentWords, sentence } from "./words.js";

/**
 * What to change next time, with the gain of each line; empty when nothing was wrong.
 * @example
 * ```ts
 * import { nextTimeLines, openNight } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(nextTimeLines(night.explanation).join("\n"));
 * ```
 */
export const nextTimeLines = ({ advice }: Explanation): string[] => advice.map((one) => sentence(adviceLine(one)));

/** So many lines at most tell what spoiled a night; the rest is added up. */
const most = 7;
/** Episodes of one cause that are told one by one; more are told together. */
const oneByOne = 2;

/** What one cause did in one night, in one or several episodes. */
interface Told {
  readonly cause: CauseCode;
  readonly episodes: readonly Episode[];
  readonly subs: number;
  readonly dropped: number;
  readonly costS: number;
  readonly probability: number;
}

/**
 * What spoiled the night: one sentence for each cause or episode, in time, the costliest if there are many.
 * @example
 * ```ts
 * import { openNight, whyLines } from "nightyield";
 * const night = await openNight("nightyield-out/march14");
 * console.log(whyLines(night.explanation).join("\n"));
 * ```
 */
export function whyLines({ episodes }: Explanation): string[] {
  const told = tellings(episodes);
  const nights = new Set(episodes.map(({ night }) => night)).size;
  const shown = [...told].sort((a, b) => b.costS - a.costS).slice(0, most);
  const lines = told.filter((one) => shown.includes(one)).map((one) => tellingWords(one, nights > 1));
  const rest = told.filter((one) => !shown.includes(one));
  if (rest.length > 0) {
    const names = [...new Set(rest.map(({ cause }) => causeRegistry[cause].short))].join(", ");
    lines.push(
      `Smaller things (${names}) touched ${countWords(sum(rest, "subs"), "more sub")} and cost ${durationWords(sum(rest, "costS"))}.`,
    );
  }
  return lines;
}

const sum = (told: readonly Told[], key: "subs" | "costS") => told.reduce((total, one) => total + one[key], 0);

function tellings(episodes: readonly Episode[]): Told[] {
  const of = (night: number, cause: CauseCode) => episodes.filter((e) => e.night === night && e.cause === cause);
  return episodes.flatMap((episode, i) => {
    const alike = of(episode.night, episode.cause);
    if (alike.length <= oneByOne) return [together([episode])];
    return episodes.findIndex((e) => e.night === episode.night && e.cause === episode.cause) === i
      ? [together(alike)]
      : [];
  });
}

function together(episodes: readonly Episode[]): Told {
  const total = (pick: (e: Episode) => number) => episodes.reduce((all, e) => all + pick(e), 0);
  const subs = total(({ rows }) => rows.length);
  return {
    cause: episodes[0].cause,
    episodes,
    subs,
    dropped: total(({ dropped }) => dropped),
    costS: total(({ costS }) => costS),
    probability: total(({ probability, rows }) => probability * rows.length) / subs,
  };
}

/** "Cloud from 20:42 to 21:30 UTC spoiled 7 subs: 6 dropped, 3 min of effective exposure lost." */
function tellingWords({ cause, episodes, subs, dropped, costS, probability }: Told, several: boolean): string {
  const [first, last] = [episodes[0], episodes[episodes.length - 1]];
  const name = causeRegistry[cause].short;
  const start = `${name.charAt(0).toUpperCase()}${name.slice(1)}`;
  const lost = `${dropped === 0 ? "none" : dropped} dropped, ${durationWords(costS)} of effective exposure lost`;
  const doubt = probability < 0.8 ? ` The cause is ${percentWords(probability)} likely.` : "";
  if (cause === "bad-file")
    return `${start}: ${countWords(subs, "file")} could not be read, ${durationWords(costS)} of effective exposure lost.`;
  if (first.startUtc === "" || last.endUtc === "") return `${start}: ${countWords(subs, "sub")}, ${lost}.${doubt}`;
  const clock = (utc: string) => utc.slice(11, 16);
  const day = several ? `${dayWords(first.startUtc)}, ` : "";
  const one = clock(first.startUtc) === clock(last.endUtc);
  const when = one ? `at ${clock(first.startUtc)} UTC` : `${clock(first.startUtc)} to ${clock(last.endUtc)} UTC`;
  const times = episodes.length > 1 ? `, ${episodes.length} times` : "";
  return `${start} (${day}${when}${times}): ${countWords(subs, "sub")}, ${lost}.${doubt}`;
}
