import { basename, resolve } from "node:path";
import { toExactJson } from "../numbers/exact-json.js";
import { type AlignmentStars, alignmentStars } from "../plan/alignment-stars.js";
import { iCalendar } from "../plan/calendar.js";
import { depthReached, type FilterDepth, type StackLimits, stackLimits } from "../plan/depth.js";
import { type FilterAdvice, filterAdvice } from "../plan/filter-advice.js";
import type { Goal, GoalSeconds } from "../plan/goal.js";
import type { SaidOfGroup } from "../plan/group-setup.js";
import { likeScale } from "../plan/like-scale.js";
import { type NightLog, nightLogs } from "../plan/night-log.js";
import { type NoiseModel, noiseModels } from "../plan/noise-model.js";
import { type Remaining, remainingOf } from "../plan/remaining.js";
import { writeWhole } from "../read/write-whole.js";
import { cameraText } from "../show/camera-words.js";
import { alignmentText, alignmentWarning, filterAdviceText, filterWarningWords } from "../show/filter-words.js";
import { dateText, filterName, nightLogText, remainingText, siteText } from "../show/plan-words.js";
import { sunCaution } from "../show/window-words.js";
import { findObject } from "../sky/find-object.js";
import type { Target } from "../sky/site.js";
import { CallError } from "../terms/errors.js";
import { type FrameTable, selectRows } from "../terms/frame-table.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";
import {
  bytesText,
  cameraGiven,
  digits,
  numberFlag,
  ownScaleWords,
  type PlanTables,
  requestFor,
  tablesOf,
} from "./plan-tables.js";
import {
  askedFrom,
  goalFor,
  type RemainingFlags,
  referenceFor,
  remainingOptions,
  remainingUsage,
  sameTarget,
} from "./remaining-asked.js";
import { type ZeroPoint, zeroPointOf } from "./zero-point.js";

/** How much more is needed, and by when. */
export const remaining: Command = {
  usage: remainingUsage,
  summary: "how deep a target is, how much more it needs, on which nights, and through which filter",
  help: `
Reads frames.ecsv of one or more triage results (DIR) and says for every target and filter how much effective integration there is, what is still
missing to a goal, with 10, 50 and 90 % values, and which of the coming nights would bring it. Then for every target its
nights so far, which filter suits it and what that is worth under your sky, and how many stars a frame shows to align on.

  --goal-hours H     goal: effective integration, hours
  --deeper FACTOR    goal: signal over noise times FACTOR
  --like DIR         goal: as deep as the stack of another triage result of the same set-up
  --goal-snr N       goal: signal over noise of light of --surface-mag (mag/arcsec2); needs a zero point
  --zero-point MAG   magnitude of a star that gives 1 e-/s in the best subs: then limits are given in magnitudes
  --stars CSV        the zero point from stars that you know: columns x,y,mag, places in px in the sub --stars-sub FITS
  --site LAT,LON     the observer; when left out as the subs' headers said; without either nights are counted, not dated
  --target NAME      where the headers gave no place and the table of deep-sky objects lacks the name: another, or RA,DEC
  --filter NAME      only this filter
  --clear-odds P     chance that a night can be used, 0 to 1 (your weather); 1 when left out
  --from DATE        first night, as 2026-03-14; tonight when left out
  --nights N         how far to look; 60 when left out
  --hours H          most hours of capture a night; all that is dark when left out
  --min-altitude DEG the lowest altitude; from your own yield when left out
  --sun-below DEG    the Sun's highest altitude, -18 to -6; -18 when left out
  --dark-zenith MAG  zenith of your dark sky, mag/arcsec2, for the Moon's effect; 20 when left out
  --align-exposure S exposure of the frames you align on; as the subs, 10 s at most, when left out
  --narrowband-nm NM width of your narrowband filter; 7 when left out
  --gain, --read-noise, --pedestal, --dark  the camera, as for sublength
  --card-gb GB       free space
  --ics FILE         write the windows as a calendar
  --json             the same as JSON

Example: twice as deep as now, under a sky that is clear every third night:
  nightyield remaining out/march14 out/march15 --deeper 2 --site 48.2,16.4 --clear-odds 0.33 --ics plan.ics`,
  async run(args) {
    const parsed = flags(args, remainingOptions, remainingUsage);
    const values = parsed.values as RemainingFlags;
    const { positionals } = parsed;
    if (positionals.length === 0)
      throw new CallError(`Give at least one triage result. Usage: nightyield ${remainingUsage}`);
    const given = cameraGiven(values);
    const all = values.like === undefined ? positionals : [...positionals, values.like];
    const tables = tablesOf(all);
    const { table, from, ownScale, said } = tables;
    const asked = askedFrom(values, tables.site?.site ?? null);
    const referenceTable = selectRows(
      table,
      rowsFrom(from, (n) => n === positionals.length),
    );
    const reference = values.like === undefined ? [] : depthReached(referenceTable);
    const own =
      values.like === undefined
        ? table
        : selectRows(
            table,
            rowsFrom(from, (n) => n < positionals.length),
          );
    const models = noiseModels(own, given, said);
    const zeroPoint = zeroPointOf(values, given.electronsPerAdu);
    const reached = depthReached(own).filter(({ kept }) => kept > 0);
    const depths = reached.filter(
      ({ filter }) => values.filter === undefined || filter.toLowerCase() === values.filter.toLowerCase(),
    );
    if (depths.length === 0)
      throw new CallError(
        `No kept light frame matches; filters: ${[...new Set(own.filter)].filter((name) => name !== "").join(", ") || "none"}`,
      );
    const scaleTo = (depth: FilterDepth, other: FilterDepth) =>
      likeScale({ table: referenceTable, depth: other }, { table: own, depth }, asked.plan.site?.heightM);
    const answers = depths.map((depth): Answer => {
      const noise = models.find(({ filter }) => filter === depth.filter) ?? null;
      const goal = goalFor(values, depth, {
        reference,
        zeroPointMag: zeroPointFor(zeroPoint, depth),
        scaleOf: (other) => scaleTo(depth, other).factor,
      });
      const target = asked.target ?? placeOf(said, depth) ?? findObject(depth.target);
      const plan = remainingOf(own, depth, {
        ...asked.plan,
        noise,
        ...(goal !== null && { goal }),
        ...(target !== null && { target }),
      });
      return { depth, noise, goal, plan, limits: limitsOf(depth, noise, zeroPointFor(zeroPoint, depth)) };
    });
    if (values.like !== undefined && answers.every(({ goal }) => goal === null))
      throw new CallError(
        `--like ${values.like} has no subs in ${depths.map(({ filter }) => filterName(filter)).join(", ")}`,
      );
    const targets = targetsOf(own, reached, answers, models, values);
    if (values.json === true) console.log(toExactJson(answers.map((answer) => withTarget(answer, targets))));
    else {
      const longitudeDeg = asked.plan.site?.longitudeDeg;
      const parts = [
        ...answers.map(remainingText),
        ...takenFrom(values, tables, answers),
        ...(zeroPoint === null || zeroPoint.said === "" ? [] : [zeroPoint.said]),
        ...targets.flatMap(({ log, advice, stars }) => [
          nightLogText(log, longitudeDeg),
          filterAdviceText(advice),
          ...(stars.length === 0 ? [] : [alignmentText(stars)]),
        ]),
      ];
      console.log(parts.join("\n\n"));
    }
    if (values.ics !== undefined) writeCalendar(values.ics, answers);
    const notes = [
      ...new Set([...answers.flatMap((answer) => requests(answer, values, zeroPoint)), ...targets.flatMap(warningsOf)]),
    ];
    for (const { target, filter, because } of ownScale)
      notes.push(
        `${target || "(no target)"}, ${filterName(filter)}: these results ${ownScaleWords[because]}; their hours are added as each gives them`,
      );
    for (const depth of depths) {
      const other = referenceFor(depth, reference);
      const because = other === null || sameTarget(other.target, depth.target) ? null : scaleTo(depth, other).because;
      if (because !== null)
        notes.push(
          `${filterName(depth.filter)}: the stacks of ${depth.target || "(no target)"} and ${other!.target || "(no target)"} ${ownScaleWords[because]}, so an hour of one is taken for an hour of the other`,
        );
    }
    notes.push(...tables.notes.filter(() => values.site === undefined));
    for (const note of notes) console.error(`attention: ${note}`);
    return notes.length === 0 ? 0 : 1;
  },
};

/** Where the place and the camera come from, when no flag gave them. */
function takenFrom(values: RemainingFlags, { site }: PlanTables, answers: readonly Answer[]): string[] {
  const lines: string[] = [];
  if (site !== null && values.site === undefined)
    lines.push(`place: ${siteText(site.site)}, from ${basename(resolve(site.folder))} (--site gives another)`);
  const cameras = new Set(answers.map(({ noise }) => cameraText(noise)).filter((text) => text !== ""));
  lines.push(...[...cameras].map((text) => `camera: ${text}`));
  return lines.length === 0 ? [] : [lines.join("\n")];
}

/** Where the telescope pointed, as the headers of a target's subs say. */
function placeOf(said: readonly SaidOfGroup[], { target }: FilterDepth): Target | null {
  return said.find((group) => group.place !== null && sameTarget(group.target, target))?.place ?? null;
}

interface Answer {
  readonly depth: FilterDepth;
  readonly noise: NoiseModel | null;
  readonly goal: Goal | null;
  readonly plan: Remaining;
  readonly limits: StackLimits | null;
}

/** What is said once of a target. */
interface TargetAnswer {
  readonly log: NightLog;
  readonly advice: FilterAdvice;
  readonly stars: readonly AlignmentStars[];
}

function targetsOf(
  table: FrameTable,
  reached: readonly FilterDepth[],
  answers: readonly Answer[],
  models: readonly NoiseModel[],
  values: RemainingFlags,
): TargetAnswer[] {
  const narrowNm = numberFlag(values["narrowband-nm"], "narrowband-nm", 0.1, 100);
  const alignS = numberFlag(values["align-exposure"], "align-exposure", 0.001, 3600);
  const named = values.target !== undefined && findObject(values.target) !== null ? values.target : undefined;
  const advised = filterAdvice(table, {
    models,
    ...(narrowNm !== undefined && { narrowNm }),
    ...(named !== undefined && { objectName: named }),
  });
  const goalOf = (depth: FilterDepth) =>
    answers.find((answer) => answer.depth === depth)?.plan.goal?.effectiveS ?? Number.NaN;
  return nightLogs(reached, goalOf)
    .filter(({ target }) => answers.some(({ depth }) => sameTarget(depth.target, target)))
    .map((log) => {
      const advice = advised.find(({ target }) => sameTarget(target, log.target))!;
      // Where the usual choice has not been used, what it would show is asked as well.
      const unused = advice.wanted === "narrowband" ? { filter: "narrowband", filterKind: "narrowband" } : undefined;
      const stars = alignmentStars(table, {
        models,
        ...(alignS !== undefined && { exposuresS: [alignS] }),
        ...(narrowNm !== undefined && { narrowNm }),
        ...(unused !== undefined && { unused }),
      }).filter(({ target }) => sameTarget(target, log.target));
      return { log, advice, stars };
    });
}

function withTarget(answer: Answer, targets: readonly TargetAnswer[]) {
  const { log, advice, stars } = targets.find(({ log: of }) => sameTarget(of.target, answer.depth.target))!;
  return { ...answer, log, filterAdvice: advice, alignmentStars: stars };
}

const warningsOf = ({ advice, stars, log }: TargetAnswer): string[] => [
  ...advice.warnings.map((warning) => filterWarningWords(warning, log.target || "(no target)")),
  // What a filter that is not used would show is told above, and needs no attention.
  ...stars.flatMap((one) => (one.basis === "own-counts" ? (alignmentWarning(one) ?? []) : [])),
];

/** A zero point of one filter says nothing about another. */
const zeroPointFor = (zeroPoint: ZeroPoint | null, { filter }: FilterDepth): number | undefined =>
  zeroPoint === null || (zeroPoint.filter !== null && zeroPoint.filter !== filter) ? undefined : zeroPoint.mag;

function limitsOf(depth: FilterDepth, noise: NoiseModel | null, zeroPointMag: number | undefined): StackLimits | null {
  if (zeroPointMag === undefined || noise === null) return null;
  const limits = stackLimits(depth, noise, zeroPointMag);
  return Number.isNaN(limits.starMag) && Number.isNaN(limits.surfaceMag) ? null : limits;
}

function writeCalendar(file: string, answers: readonly Answer[]): void {
  const events = answers.flatMap(({ depth, plan }) =>
    plan.windows.flatMap(({ best, moonIllumination, noonMs }) =>
      (best === null ? [] : [best]).map(({ startMs, endMs, hours, effectiveHours }) => ({
        startMs,
        endMs,
        title: `${depth.target} ${depth.filter}`.trim(),
        description: `${digits(hours)} h, worth ${digits(effectiveHours)} h; Moon ${digits(100 * moonIllumination, 2)} % lit. ${sunCaution}`,
        // By the night, not by the hour: a later plan replaces the entry.
        uid: `${[depth.target, depth.filter, dateText(noonMs)].map((part) => encodeURIComponent(part.trim().toLowerCase())).join("-")}@nightyield`,
      })),
    ),
  );
  if (events.length === 0)
    throw new CallError("--ics needs windows: give --site LAT,LON, and --target where the name is not known");
  writeWhole(resolve(file), iCalendar(events, Date.now()));
}

/** What should be given for a better answer. */
function requests(
  { depth, goal, plan, noise, limits }: Answer,
  values: RemainingFlags,
  zeroPoint: ZeroPoint | null,
): string[] {
  const notes: string[] = [];
  if (goal === null && values.like !== undefined)
    notes.push(`--like ${values.like} has no subs in ${filterName(depth.filter)}: no goal for it`);
  else if (plan.missing.includes("goal"))
    notes.push("no goal was given: --goal-hours H, --deeper FACTOR, --like DIR or --goal-snr N");
  if (plan.missing.includes("site")) notes.push("for dates and windows give --site LAT,LON");
  else if (plan.missing.includes("target"))
    notes.push(`'${depth.target}' is not in the table of deep-sky objects: give --target RA,DEC`);
  const camera = requestFor(noise?.missing ?? []) || "--gain E_PER_ADU and --read-noise E";
  const missing: Extract<GoalSeconds, { effectiveS: null }>["missing"] =
    plan.goal?.effectiveS === null ? plan.goal.missing : [];
  if (missing.includes("zero-point"))
    notes.push(
      `--goal-snr needs a zero point${zeroPoint === null ? "" : ` for ${filterName(depth.filter)}`}: --zero-point MAG, the magnitude of a star that gives 1 e-/s, or --stars CSV`,
    );
  else if (missing.includes("pixel-scale"))
    notes.push(
      "--goal-snr needs the pixel scale, which the headers do not give: run triage with a --site-file that does",
    );
  else if (missing.length > 0) notes.push(`--goal-snr needs ${camera}`);
  if (zeroPointFor(zeroPoint, depth) !== undefined && limits === null && missing.length === 0)
    notes.push(`limits in magnitudes need ${camera}`);
  const cardGb = numberFlag(values["card-gb"], "card-gb", 0.001, 1e6);
  if (cardGb !== undefined && plan.bytesLeft.p50 > cardGb * 1e9)
    notes.push(
      `${filterName(depth.filter)}: the subs still to take need ${Number.isFinite(plan.bytesLeft.p50) ? bytesText(plan.bytesLeft.p50) : "more than the nights looked at bring"}, the card has ${digits(cardGb)} GB`,
    );
  return notes;
}

const rowsFrom = (from: Int32Array, wanted: (table: number) => boolean) =>
  Array.from(from, (table, row) => (wanted(table) ? row : -1)).filter((row) => row >= 0);
